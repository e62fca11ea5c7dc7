// Acts that wait, packed to be carried to another phone: as the text of a file, or as the texts of a
// few codes. What comes in is only looked at for its form here; whether it is what somebody's phone
// signed, the server says.

const FORMAT = "gearroom-records";
const CODE = /^GR1\.([0-9a-f]{8})\.(\d{1,3})\.(\d{1,3})\.([\w-]+)$/; // name, number, of how many, part
const PART = 480; // characters of a code's text, beside its head
const MOST_BYTES = 1024 * 1024;
const MOST_ACTS = 1000;
const ADDRESS =
  /^\/api\/v1\/kits\/[^/?#]{1,400}\/(?:check-out|check-in|look-inside|reseal|pass|use|borrow)\/$/;

const isText = (value, most) => typeof value === "string" && value.length <= most;
const FORMS = {
  key: (value) => /^[0-9a-f]{8}(?:-[0-9a-f]{4}){3}-[0-9a-f]{12}$/.test(value),
  by: Number.isSafeInteger,
  name: (value) => isText(value, 200),
  path: (value) => isText(value, 500) && ADDRESS.test(value),
  body: (value) => typeof value === "object" && value !== null && !Array.isArray(value),
  at: (value) => isText(value, 30) && !Number.isNaN(Date.parse(value)),
  offset: (value) => value === null || Number.isSafeInteger(value),
  says: (value) => isText(value, 2000),
  kit: (value) => isText(value, 200),
  proof: (value) => /^[0-9a-f]{64}$/.test(value),
};

/** The text of a file with these acts. */
export const fileOf = (acts) =>
  JSON.stringify({
    format: FORMAT,
    acts: acts.map((act) =>
      Object.fromEntries(Object.keys(FORMS).map((name) => [name, act[name]])),
    ),
  });

/** The acts in the text of a file; raises where it is none of ours or was cut short. */
export function actsIn(text) {
  if (text.length > MOST_BYTES) throw new Error("too long");
  const { format, acts } = JSON.parse(text);
  if (format !== FORMAT || !Array.isArray(acts) || acts.length > MOST_ACTS) throw new Error("form");
  return acts.map((act) =>
    Object.fromEntries(
      Object.entries(FORMS).map(([name, holds]) => {
        if (!holds(act[name])) throw new Error(name);
        return [name, act[name]];
      }),
    ),
  );
}

/** The texts of the codes that together hold these acts. */
export async function codesOf(acts) {
  const packed = await through(new CompressionStream("deflate-raw"), bytesOf(fileOf(acts)));
  const name = await nameOf(packed);
  const text = btoa(Array.from(packed, (byte) => String.fromCharCode(byte)).join(""))
    .replaceAll("+", "-")
    .replaceAll("/", "_")
    .replaceAll("=", "");
  const parts = text.match(new RegExp(`.{1,${PART}}`, "g"));
  return parts.map((part, index) => `GR1.${name}.${index + 1}.${parts.length}.${part}`);
}

/** Whether a scanned text is one of such codes. */
export const isCode = (text) => CODE.test(text);

/** Codes as they are scanned one by one: `add` takes one and says how many of how many are there, and
 * once all are, `acts`. */
export function collector() {
  const sets = new Map();
  return {
    async add(text) {
      const [, name, number, of, part] = CODE.exec(text);
      const parts = sets.get(name) ?? new Map();
      sets.set(name, parts.set(Number(number), part));
      const count = { here: parts.size, of: Number(of) };
      if (count.here < count.of) return count;
      sets.delete(name);
      const whole = Array.from({ length: count.of }, (_, index) => parts.get(index + 1)).join("");
      const packed = Uint8Array.from(
        atob(whole.replaceAll("-", "+").replaceAll("_", "/")),
        (character) => character.charCodeAt(0),
      );
      if ((await nameOf(packed)) !== name) throw new Error("not whole");
      const bytes = await through(new DecompressionStream("deflate-raw"), packed);
      return { ...count, acts: actsIn(new TextDecoder().decode(bytes)) };
    },
  };
}

const bytesOf = (text) => new TextEncoder().encode(text);

async function nameOf(bytes) {
  const digest = new Uint8Array(await crypto.subtle.digest("SHA-256", bytes));
  return Array.from(digest.slice(0, 4), (byte) => byte.toString(16).padStart(2, "0")).join("");
}

/** Bytes sent through a stream; at most as many as a file may have. */
async function through(stream, bytes) {
  const reader = new Blob([bytes]).stream().pipeThrough(stream).getReader();
  const chunks = [];
  let size = 0;
  for (let next = await reader.read(); !next.done; next = await reader.read()) {
    size += next.value.length;
    if (size > MOST_BYTES) throw new Error("too long");
    chunks.push(next.value);
  }
  return new Uint8Array(await new Blob(chunks).arrayBuffer());
}
