// QR codes (ISO/IEC 18004) of one kind: version 15, error correction L, bytes, mask 0. It holds 520
// bytes, and its 77 modules can be read off a phone's screen.

const SIZE = 77;
const BLOCKS = [87, 87, 87, 87, 87, 88]; // data codewords of each (table 9)
const CHECKS = 22; // error correction codewords of each
const CENTRES = [6, 26, 48, 70]; // of alignment patterns (table E.1)
const FORMAT = 0b111011111000100; // L, mask 0 (table C.1)
const VERSION = 0b001111100100101000; // 15 (table D.1)
const QUIET = 4; // modules of margin
const DATA = BLOCKS.reduce((sum, each) => sum + each);
export const MOST_BYTES = DATA - 3; // beside mode and length

// ------------------------------------------------------------------------- Reed-Solomon, GF(256)
const POWERS = new Uint8Array(255);
const LOGS = new Uint8Array(256);
for (let power = 0, value = 1; power < 255; power++) {
  POWERS[power] = value;
  LOGS[value] = power;
  value = value & 0x80 ? (value << 1) ^ 0x11d : value << 1;
}
const times = (a, b) => (a && b ? POWERS[(LOGS[a] + LOGS[b]) % 255] : 0);

/** The generator's coefficients after the first, which is 1. */
const GENERATOR = (() => {
  let generator = [1];
  for (let root = 0; root < CHECKS; root++) {
    const next = [...generator, 0];
    generator.forEach((each, index) => {
      next[index + 1] ^= times(each, POWERS[root]);
    });
    generator = next;
  }
  return generator.slice(1);
})();

function checks(data) {
  const rest = new Uint8Array(CHECKS);
  for (const byte of data) {
    const factor = byte ^ rest[0];
    rest.copyWithin(0, 1);
    rest[CHECKS - 1] = 0;
    GENERATOR.forEach((each, index) => {
      rest[index] ^= times(each, factor);
    });
  }
  return rest;
}

// -------------------------------------------------------------------------------------- codewords
function codewords(text) {
  const bytes = new TextEncoder().encode(text);
  if (bytes.length > MOST_BYTES) throw new Error("too long for one code");
  const { length } = bytes;
  const half = [4, length >> 12, (length >> 8) & 15, (length >> 4) & 15, length & 15]; // in fours
  for (const byte of bytes) half.push(byte >> 4, byte & 15);
  half.push(0);
  const data = [];
  for (let at = 0; at < half.length; at += 2) data.push((half[at] << 4) | half[at + 1]);
  for (let pad = 0xec; data.length < DATA; pad ^= 0xec ^ 0x11) data.push(pad);
  const blocks = BLOCKS.map((count) => data.splice(0, count));
  const all = [];
  const interleave = (rows, count) => {
    for (let at = 0; at < count; at++)
      for (const row of rows) if (at < row.length) all.push(row[at]);
  };
  interleave(blocks, Math.max(...BLOCKS));
  interleave(blocks.map(checks), CHECKS);
  return all;
}

// ----------------------------------------------------------------------------------------- modules
/** Rows of modules, true for dark; those of no data are set, others undefined. */
function patterns() {
  const rows = Array.from({ length: SIZE }, () => new Array(SIZE));
  const set = (x, y, dark) => {
    if (rows[y] && x >= 0 && x < SIZE) rows[y][x] = Boolean(dark);
  };
  const square = (x, y, reach, isDark) => {
    for (let down = -reach; down <= reach; down++)
      for (let across = -reach; across <= reach; across++)
        set(x + across, y + down, isDark(Math.max(Math.abs(across), Math.abs(down))));
  };
  for (let at = 0; at < SIZE; at++) {
    set(at, 6, at % 2 === 0);
    set(6, at, at % 2 === 0);
  }
  const corners = [3, SIZE - 4];
  for (const x of corners)
    for (const y of corners)
      if (x + y < 2 * (SIZE - 4)) square(x, y, 4, (ring) => ring !== 2 && ring !== 4);
  for (const x of CENTRES)
    for (const y of CENTRES) {
      const ends = [6, SIZE - 7];
      const isCorner = ends.includes(x) && ends.includes(y) && x + y < 2 * (SIZE - 7);
      if (!isCorner) square(x, y, 2, (ring) => ring !== 1);
    }
  for (let bit = 0; bit < 15; bit++) {
    const dark = (FORMAT >> bit) & 1;
    const near = bit < 6 ? [8, bit] : bit < 8 ? [8, bit + 1] : [bit === 8 ? 7 : 14 - bit, 8];
    set(...near, dark);
    set(...(bit < 8 ? [SIZE - 1 - bit, 8] : [8, SIZE - 15 + bit]), dark);
  }
  set(8, SIZE - 8, true);
  for (let bit = 0; bit < 18; bit++) {
    const [far, near] = [SIZE - 11 + (bit % 3), Math.floor(bit / 3)];
    set(far, near, (VERSION >> bit) & 1);
    set(near, far, (VERSION >> bit) & 1);
  }
  return rows;
}

/** The modules of a text's code, rows of true for dark. */
export function modules(text) {
  const rows = patterns();
  const words = codewords(text);
  let bit = 0;
  for (let right = SIZE - 1, up = true; right > 0; right -= 2, up = !up) {
    if (right === 6) right = 5; // the timing pattern's column
    for (let step = 0; step < SIZE; step++) {
      const y = up ? SIZE - 1 - step : step;
      for (const x of [right, right - 1]) {
        if (rows[y][x] !== undefined) continue;
        const dark = (words[bit >> 3] >> (7 - (bit & 7))) & 1; // beyond the last word: 0
        rows[y][x] = Boolean(dark ^ ((x + y) % 2 === 0));
        bit += 1;
      }
    }
  }
  return rows;
}

/** A text's code as a picture (SVG), black on white with its margin, which `label` names. */
export function picture(text, label) {
  const NAMES = "http://www.w3.org/2000/svg";
  const make = (name, facts) => {
    const made = document.createElementNS(NAMES, name);
    for (const [fact, value] of Object.entries(facts)) made.setAttribute(fact, value);
    return made;
  };
  const side = SIZE + 2 * QUIET;
  const dark = modules(text).flatMap((row, y) =>
    row.flatMap((each, x) => (each ? [`M${x + QUIET} ${y + QUIET}h1v1h-1z`] : [])),
  );
  const drawn = make("svg", { viewBox: `0 0 ${side} ${side}`, role: "img", "aria-label": label });
  drawn.append(
    make("rect", { width: side, height: side, fill: "#fff" }),
    make("path", { d: dark.join(""), fill: "#000", "shape-rendering": "crispEdges" }),
  );
  return drawn;
}
