// Looking up what Python has judged beforehand: the table that came with the step. Nothing is computed here but which
// size was typed; what the table lacks has no answer, and is judged when it is sent.
// table {per: {unit: nanometres}, sizes: [nanometres], rows: [letters], after: {"row1,row2": [letters]}, said: {letter: words}}
function nanometres(table, text, unit) {
  const plain = text.trim().replace(",", ".");
  if (!/^\d+(\.\d*)?$|^\.\d+$/.test(plain) || !table.per[unit]) return null;
  return Math.round(Number(plain) * table.per[unit]);
}
// What blades show together: their stamps are added in whole units of the last decimal that one of the set has.
function stackReads(stack, stamps) {
  const places = Math.max(...stamps.map(each => (each.split(".")[1] || "").length));
  return (stack.reduce((sum, stamp) => sum + Math.round(Number(stamp) * 10 ** places), 0) / 10 ** places).toFixed(places);
}
// A scale: {unit, places, first, runs: [[count, letter]], said}.
function lookUpLine(line, text, unit) {
  const plain = text.trim().replace(",", ".");
  if (unit !== line.unit || !/^\d+(\.\d*)?$|^\.\d+$/.test(plain)) return null;
  const exact = Number(plain) * 10 ** line.places, whole = Math.round(exact);
  let left = whole - line.first;
  if (Math.abs(exact - whole) > 1e-6 || left < 0) return null;
  for (const [count, letter] of line.runs) { if (left < count) return line.said[letter] || null; left -= count; }
  return null;
}
// one, two: rows as typed. started: the rows of an initial clearance of the same bearing that is not sent yet, or null.
function lookUp(table, one, two, unit, started) {
  const rows = started ? (table.after || {})[started.join(",")] : table.rows;
  const first = table.sizes.indexOf(nanometres(table, one, unit));
  const second = table.sizes.indexOf(nanometres(table, two, unit));
  if (!rows || first < 0 || second < 0) return null;
  return table.said[rows[first][second]] || null;
}
