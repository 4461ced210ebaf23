// How far a file is on its way into the book: asked every second, and the page shown again once it is done.

const place = document.getElementById("progress");

async function ask() {
  try {
    const answer = await fetch(place.dataset.state, { signal: AbortSignal.timeout(10_000) });
    const state = answer.ok ? await answer.json() : { busy: false };
    if (!state.busy) {
      location.reload();
      return;
    }
    if (place.textContent !== state.words) {
      place.textContent = state.words;
    }
  } catch {
    // The book can't be reached just now; asked again in a moment.
  }
  setTimeout(ask, 1000);
}

setTimeout(ask, 1000);
