// Keeps the cards that were opened on this phone, so that they go on without a signal. Version __VERSION__.
// It stores what the service made and puts pages together from it; it knows nothing of bearings and never sends.
const KEPT = "capsaddle-cards", WAIT_MS = 4000;
addEventListener("install", event => event.waitUntil(skipWaiting()));
addEventListener("activate", event => event.waitUntil(clients.claim()));
const cardOf = path => { const found = /^(.*\/card\/[A-Za-z0-9_-]{20,})(\/.*)?$/.exec(path); return found && [found[1], found[2] || ""]; };
addEventListener("message", event => { if (event.data && event.data.keep) event.waitUntil(keepCard(event.data.keep)); });
async function keepCard(base) {
  const kept = await caches.open(KEPT), before = await kept.match(base + "/pages");
  const known = before ? {"If-None-Match": before.headers.get("ETag")} : {};
  const answer = await fetch(base + "/pages", {cache: "no-store", headers: known}).catch(() => null);
  if (!answer) return;
  if (answer.ok) await kept.put(base + "/pages", answer);
  else if (answer.status === 404 || answer.status === 410) await kept.delete(base + "/pages");
}
addEventListener("fetch", event => {
  const url = new URL(event.request.url), card = cardOf(url.pathname);
  if (event.request.mode !== "navigate" || event.request.method !== "GET" || !card || url.origin !== location.origin || url.search.includes("as=pdf")) return;
  event.respondWith(page(event, card, url.search));
});
async function page(event, [base, path], search) {
  const kept = await (await caches.open(KEPT)).match(base + "/pages");
  const asked = fetch(event.request);
  if (!kept) return asked;
  const late = new Promise(done => setTimeout(done, WAIT_MS, null));
  const answer = await Promise.race([asked.catch(() => null), late]);
  if (answer && (answer.status === 404 || answer.status === 410)) event.waitUntil(keepCard(base)); // drops the card of a link that has ended
  if (answer && answer.status < 500) return answer;
  return assembled(await kept.json(), path, search);
}
function assembled(card, path, search) {
  const asked = search.replace(/[?&]withdraws=[^&]*/, "");
  const inside = card.pages[path + asked] || card.pages[path] || card.pages[""];
  const body = card.shell.replace("<!--main-->", () => inside).replace('data-kept=""', `data-kept="${card.made}"`);
  return new Response(body, {headers: {"Content-Type": "text/html; charset=utf-8", "Content-Security-Policy": card.policy, "Referrer-Policy": "no-referrer", "X-Content-Type-Options": "nosniff"}});
}
