// Whether a finger is on the screen. What changes a page waits until its tap is done: a browser gives
// no click to what was replaced or moved while it was pressed.

const CLICK_MS = 300; // once a finger is lifted, the click comes within
const LONGEST_MS = 2000; // a finger that stays longer does not tap

let touched = null;

addEventListener(
  "pointerdown",
  () => {
    const over = new AbortController();
    const on = { capture: true, signal: over.signal };
    touched = new Promise((resolve) => {
      const end = (after = 0) => setTimeout(resolve, after);
      addEventListener("click", () => end(), on);
      addEventListener("pointercancel", () => end(), on);
      addEventListener("pointerup", () => end(CLICK_MS), on);
      end(LONGEST_MS);
    });
    const mine = touched;
    mine.then(() => {
      over.abort();
      if (touched === mine) touched = null;
    });
  },
  { capture: true },
);

/** Resolves as soon as no tap is under way. */
export async function untouched() {
  while (touched) await touched;
}
