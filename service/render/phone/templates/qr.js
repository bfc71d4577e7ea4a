// A QR code (ISO/IEC 18004, bytes, level L, mask by the rules of the standard) of what waits on the phone, as SVG: so that it
// can be read off when the link has ended. Up to version 20, 858 bytes; a longer text has no code and is copied.
const QR_CODEWORDS = [0, 26, 44, 70, 100, 134, 172, 196, 242, 292, 346, 404, 466, 532, 581, 655, 733, 815, 901, 991, 1085];
const QR_CHECK = [0, 7, 10, 15, 20, 26, 18, 20, 24, 30, 18, 20, 24, 26, 30, 22, 24, 28, 30, 28, 28];
const QR_BLOCKS = [0, 1, 1, 1, 1, 1, 2, 2, 2, 2, 4, 4, 4, 4, 4, 6, 6, 6, 6, 7, 8];
function qrField() { // exponents and logarithms of GF(256) with the polynomial 0x11d
  const exp = [], log = [];
  for (let n = 0, x = 1; n < 255; n++) { exp[n] = x; log[x] = n; x = x & 128 ? (x << 1) ^ 0x11d : x << 1; }
  return [exp, log];
}
function qrChecked(bytes, version) { // data and Reed-Solomon bytes, interleaved by block
  const [exp, log] = qrField(), times = (a, b) => a && b ? exp[(log[a] + log[b]) % 255] : 0;
  const check = QR_CHECK[version], count = QR_BLOCKS[version];
  let generator = [1];
  for (let n = 0; n < check; n++) {
    const next = new Array(generator.length + 1).fill(0);
    generator.forEach((g, i) => { next[i] ^= g; next[i + 1] ^= times(g, exp[n]); });
    generator = next;
  }
  const short = Math.floor(bytes.length / count), long = bytes.length % count, blocks = [], checks = [];
  for (let b = 0, at = 0; b < count; b++) {
    const data = bytes.slice(at, at += short + (b >= count - long ? 1 : 0)), rest = data.concat(new Array(check).fill(0));
    for (let i = 0; i < data.length; i++) { const lead = rest[i]; if (lead) generator.forEach((g, j) => { rest[i + j] ^= times(g, lead); }); }
    blocks.push(data); checks.push(rest.slice(data.length));
  }
  const mixed = [];
  for (let i = 0; i <= short; i++) for (const block of blocks) if (i < block.length) mixed.push(block[i]);
  for (let i = 0; i < check; i++) for (const block of checks) mixed.push(block[i]);
  return mixed;
}
function qrBytes(text, version) {
  const data = Array.from(new TextEncoder().encode(text)), room = QR_CODEWORDS[version] - QR_CHECK[version] * QR_BLOCKS[version];
  const bits = [], put = (value, length) => { for (let i = length - 1; i >= 0; i--) bits.push((value >> i) & 1); };
  put(4, 4); put(data.length, version < 10 ? 8 : 16); data.forEach(byte => put(byte, 8));
  if (bits.length > room * 8) return null;
  put(0, Math.min(4, room * 8 - bits.length)); while (bits.length % 8) bits.push(0);
  const bytes = [];
  for (let i = 0; i < bits.length; i += 8) bytes.push(parseInt(bits.slice(i, i + 8).join(""), 2));
  for (let pad = 0xec; bytes.length < room; pad ^= 0xfd) bytes.push(pad);
  return bytes;
}
function qrFrame(version) { // finders, timing, alignment: values; what is free is null
  const size = 17 + 4 * version, at = Array.from({length: size}, () => new Array(size).fill(null));
  const set = (r, c, v) => { if (r >= 0 && c >= 0 && r < size && c < size) at[r][c] = v; };
  for (const [r0, c0] of [[3, 3], [3, size - 4], [size - 4, 3]])
    for (let r = -4; r <= 4; r++) for (let c = -4; c <= 4; c++) { const d = Math.max(Math.abs(r), Math.abs(c)); set(r0 + r, c0 + c, d !== 2 && d !== 4 ? 1 : 0); }
  for (let i = 8; i < size - 8; i++) at[6][i] = at[i][6] = 1 - i % 2;
  const count = version > 1 ? Math.floor(version / 7) + 2 : 0, step = version === 1 ? 0 : Math.ceil((size - 13) / (2 * count - 2)) * 2, places = count ? [6] : [];
  for (let pos = size - 7; places.length < count; pos -= step) places.splice(1, 0, pos);
  for (const r0 of places) for (const c0 of places) {
    if (at[r0][c0] !== null && (r0 < 9 && c0 < 9 || r0 < 9 && c0 > size - 10 || r0 > size - 10 && c0 < 9)) continue;
    for (let r = -2; r <= 2; r++) for (let c = -2; c <= 2; c++) set(r0 + r, c0 + c, Math.max(Math.abs(r), Math.abs(c)) !== 1 ? 1 : 0);
  }
  return at;
}
function qrInformed(at, version, mask) { // format (level L) and version information
  const size = at.length;
  let rest = 8 + mask; for (let i = 0; i < 10; i++) rest = (rest << 1) ^ ((rest >> 9) * 0x537);
  const format = ((8 + mask) << 10 | rest) ^ 0x5412, bit = i => (format >> i) & 1;
  for (let i = 0; i < 6; i++) at[i][8] = bit(i);
  at[7][8] = bit(6); at[8][8] = bit(7); at[8][7] = bit(8);
  for (let i = 9; i < 15; i++) at[8][14 - i] = bit(i);
  for (let i = 0; i < 8; i++) at[8][size - 1 - i] = bit(i);
  for (let i = 8; i < 15; i++) at[size - 15 + i][8] = bit(i);
  at[size - 8][8] = 1;
  if (version < 7) return;
  let more = version; for (let i = 0; i < 12; i++) more = (more << 1) ^ ((more >> 11) * 0x1f25);
  const all = version << 12 | more;
  for (let i = 0; i < 18; i++) { const v = (all >> i) & 1, r = Math.floor(i / 3), c = size - 11 + i % 3; at[r][c] = at[c][r] = v; }
}
const QR_MASKS = [(r, c) => (r + c) % 2, r => r % 2, (r, c) => c % 3, (r, c) => (r + c) % 3, (r, c) => (Math.floor(r / 2) + Math.floor(c / 3)) % 2,
  (r, c) => r * c % 2 + r * c % 3, (r, c) => (r * c % 2 + r * c % 3) % 2, (r, c) => ((r + c) % 2 + r * c % 3) % 2];
function qrPenalty(at) {
  const size = at.length; let sum = 0, dark = 0;
  const lines = at.map(row => row.join("")).concat(at.map((_, c) => at.map(row => row[c]).join("")));
  for (const line of lines) {
    for (const run of line.match(/0{5,}|1{5,}/g) || []) sum += run.length - 2;
    for (let i = 0; i + 11 <= size; i++) { const part = line.slice(i, i + 11); if (part === "10111010000" || part === "00001011101") sum += 40; }
  }
  for (let r = 0; r < size; r++) for (let c = 0; c < size; c++) { dark += at[r][c]; if (r && c && at[r][c] === at[r - 1][c] && at[r][c] === at[r][c - 1] && at[r][c] === at[r - 1][c - 1]) sum += 3; }
  return sum + 10 * Math.floor(Math.abs(dark * 20 - size * size * 10) / (size * size));
}
function qrModules(text) { // rows of 0 and 1, or null where the text is too long
  let version = 1, bytes = null;
  while (version <= 20 && !(bytes = qrBytes(text, version))) version++;
  if (!bytes) return null;
  const words = qrChecked(bytes, version), frame = qrFrame(version), reserved = frame.map(row => row.slice());
  qrInformed(reserved, version, 0);
  let best = null, least = Infinity;
  for (let mask = 0; mask < 8; mask++) {
    const at = frame.map(row => row.slice()), size = at.length; let n = 0;
    for (let right = size - 1; right >= 1; right -= 2) {
      if (right === 6) right = 5;
      for (let i = 0; i < size; i++) for (let j = 0; j < 2; j++) {
        const c = right - j, r = (right + 1) & 2 ? i : size - 1 - i;
        if (reserved[r][c] !== null) continue;
        const bit = n < words.length * 8 ? (words[n >> 3] >> (7 - (n & 7))) & 1 : 0; n++;
        at[r][c] = bit ^ (QR_MASKS[mask](r, c) === 0 ? 1 : 0);
      }
    }
    qrInformed(at, version, mask);
    const found = qrPenalty(at);
    if (found < least) { least = found; best = at; }
  }
  return best;
}
function qrPicture(text) { // an SVG element, or null
  const at = qrModules(text);
  if (!at) return null;
  const svg = document.createElementNS("http://www.w3.org/2000/svg", "svg"), size = at.length + 8;
  let path = "";
  at.forEach((row, r) => row.forEach((dark, c) => { if (dark) path += `M${c + 4} ${r + 4}h1v1h-1z`; }));
  svg.setAttribute("viewBox", `0 0 ${size} ${size}`); svg.setAttribute("role", "img"); svg.setAttribute("shape-rendering", "crispEdges");
  const drawn = document.createElementNS(svg.namespaceURI, "path"); drawn.setAttribute("d", path); svg.append(drawn);
  return svg;
}
