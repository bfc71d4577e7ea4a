// Looking up what Python has judged beforehand: the table that came with the step. Nothing is computed here but which
// size was typed; what the table lacks has no answer, and is judged when it is sent.
// table {per: {unit: nanometres}, sizes: [nanometres], rows: [letters], after: {"row1,row2": [letters]}, said: {letter: words}}
function nanometres(table, text, unit) {
  const plain = text.trim().replace(",", ".");
  if (!/^\d+(\.\d*)?$|^\.\d+$/.test(plain) || !table.per[unit]) return null;
  return Math.round(Number(plain) * table.per[unit]);
}
// one, two: rows as typed. started: the rows of an initial clearance of the same bearing that is not sent yet, or null.
function lookUp(table, one, two, unit, started) {
  const rows = started ? (table.after || {})[started.join(",")] : table.rows;
  const first = table.sizes.indexOf(nanometres(table, one, unit));
  const second = table.sizes.indexOf(nanometres(table, two, unit));
  if (!rows || first < 0 || second < 0) return null;
  return table.said[rows[first][second]] || null;
}
