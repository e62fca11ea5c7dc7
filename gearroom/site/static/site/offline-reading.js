// Reading labels in the browser: by its own Barcode Detection API where it has that, else by the
// same API over WebAssembly from our own host (installed by npm), else not at all.

const FORMATS = ["qr_code", "data_matrix", "code_128", "ean_13", "ean_8", "upc_a", "upc_e"];

/**
 * A function from a picture (a canvas) to the texts of the symbols in it, or null where this
 * browser cannot read. `from` is the address of the folder of the replacement, "" if it is not
 * installed. Ask only once the camera is allowed: it may load a megabyte.
 */
export async function reader(from) {
  return (await own()) ?? (from ? await replacement(from) : null);
}

async function own() {
  try {
    const supported = await globalThis.BarcodeDetector.getSupportedFormats();
    const formats = FORMATS.filter((format) => supported.includes(format));
    return formats.includes("qr_code") ? texts(new globalThis.BarcodeDetector({ formats })) : null;
  } catch {
    return null; // it is not there, or there in name only
  }
}

async function replacement(from) {
  try {
    const { BarcodeDetector, prepareZXingModule } = await import(`${from}ponyfill.js`);
    await prepareZXingModule({ overrides: { locateFile: (name) => from + name }, fireImmediately: true });
    return texts(new BarcodeDetector({ formats: FORMATS }));
  } catch {
    return null;
  }
}

function texts(detector) {
  return async (picture) => {
    try {
      return (await detector.detect(picture)).map((symbol) => symbol.rawValue).filter(Boolean);
    } catch {
      return []; // nothing to read in this picture
    }
  };
}
