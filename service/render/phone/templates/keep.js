// What waits on this phone, in an IndexedDB of this address: {n, id, order, number, base, what, fields, said, text, taken, revision,
// looked, refused}. n keeps the order; id is the UUID by which the service knows what it has stored already.
function opened() {
  return new Promise((done, failed) => {
    const asked = indexedDB.open("capsaddle", 1);
    asked.onupgradeneeded = () => asked.result.createObjectStore("unsent", {keyPath: "n", autoIncrement: true});
    asked.onsuccess = () => done(asked.result);
    asked.onerror = () => failed(asked.error);
  });
}
async function inStore(mode, work) {
  const db = await opened();
  return new Promise((done, failed) => {
    const tx = db.transaction("unsent", mode), asked = work(tx.objectStore("unsent"));
    tx.oncomplete = () => { db.close(); done(asked && asked.result); };
    tx.onerror = tx.onabort = () => { db.close(); failed(tx.error); };
  });
}
const keep = item => inStore("readwrite", store => store.add(item));
const mark = item => inStore("readwrite", store => store.put(item));
const drop = n => inStore("readwrite", store => store.delete(n));
const waiting = async order => (await inStore("readonly", store => store.getAll())).filter(item => !order || item.order === order);
