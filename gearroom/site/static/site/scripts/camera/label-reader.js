// Reading labels in the browser: by its own Barcode Detection API where it has that, else by the
// same API over WebAssembly from our own host (installed by npm), else not at all.

const FORMATS = ["qr_code", "data_matrix", "code_128", "ean_13", "ean_8", "upc_a", "upc_e"];

const NEEDED = ["qr_code", "data_matrix"]; // our labels, and most makers' codes
const PATIENCE = 5; // pictures in a row that it may fail at before it is no reader
const AGAIN_MS = 10_000; // until what did not come is asked for again

/**
 * A function from a picture (a canvas) to the texts of the symbols in it, or null where this
 * browser cannot read. `from` is the address of the folder of the replacement, nothing where it may
 * not run or is not installed. Ask only once the camera is allowed: it may load a megabyte.
 */
export async function reader(from) {
  const own = await native();
  if (own && NEEDED.every((format) => own.formats.includes(format))) {
    return texts(own.detector, () => replacement(from));
  }
  const other =
    (await replacement(from)) ?? (own?.formats.includes("qr_code") ? own.detector : null);
  return other && texts(other);
}

async function native() {
  try {
    const supported = await globalThis.BarcodeDetector.getSupportedFormats();
    const formats = FORMATS.filter((format) => supported.includes(format));
    return { formats, detector: new globalThis.BarcodeDetector({ formats }) };
  } catch {
    return null; // it is not there, or there in name only
  }
}

async function replacement(from) {
  if (!from) return null;
  const module = `${from}ponyfill.js`;
  const files = new Set([module]);
  const locateFile = (name) => {
    files.add(from + name);
    return from + name;
  };
  try {
    const { BarcodeDetector, prepareZXingModule } = await import(module);
    await prepareZXingModule({ overrides: { locateFile }, fireImmediately: true });
    keepReader(from, files);
    return new BarcodeDetector({ formats: FORMATS });
  } catch {
    return null;
  }
}

/** Keep what was loaded, `files` and what they load, beside the service worker's own files, as soon as
 * it is there. It may not have been when they came, nor yet be asked for what this page loads; and a
 * file that has just come may not be among the browser's entries yet. */
async function keepReader(from, files) {
  if (!navigator.serviceWorker) return;
  await navigator.serviceWorker.ready;
  try {
    const names = [...files].map((file) => new URL(file, location.href).href);
    const folder = new URL(from, location.href).href;
    const loaded = performance.getEntriesByType("resource").map(({ name }) => name);
    names.push(...loaded.filter((name) => name.startsWith(folder)));
    const shell = (await caches.keys()).findLast((name) => name.startsWith("shell-"));
    if (!shell) throw new Error("not there yet");
    const cache = await caches.open(shell);
    for (const name of names) if (!(await cache.match(name))) await cache.add(name);
  } catch {
    setTimeout(() => keepReader(from, files), AGAIN_MS);
  }
}

function texts(detector, instead = null) {
  let failed = 0; // in a row
  return async (picture) => {
    try {
      const symbols = await detector.detect(picture);
      failed = 0;
      return symbols.map((symbol) => symbol.rawValue).filter(Boolean);
    } catch {
      // nothing to read in this picture, or its service is gone
      failed += 1;
      if (failed === PATIENCE && instead) detector = (await instead()) ?? detector;
      return [];
    }
  };
}
