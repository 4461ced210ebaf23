// Starts the service worker where the browser has one (HTTPS and localhost), and lets a new version in at a moment
// when no visit is open.

const WORKER = "/sw.js";
let busy = false;

// The one place where a string may become a script's address.
const policy = globalThis.trustedTypes?.createPolicy("coldlash", {
  createScriptURL: (url) => {
    if (url !== WORKER) {
      throw new TypeError(`${url} is not the service worker of these pages`);
    }
    return url;
  },
});

/** A page with a visit open says so; a new version then waits. `<body data-busy>` says the same without a script. */
export function setBusy(value) {
  busy = value;
  if (!value) {
    letWaitingIn();
  }
}

function isBusy() {
  return busy || document.body.dataset.busy !== undefined;
}

/** Asks the service worker to fetch and keep these pages for use without a network. Resolves to false where it can't. */
export async function keepPages(urls) {
  if (!canKeep()) {
    return false;
  }
  const registration = await navigator.serviceWorker.ready;
  registration.active.postMessage({ type: "keep", urls });
  return true;
}

/** True where pages can be kept on this device at all. */
export function canKeep() {
  return "serviceWorker" in navigator && globalThis.isSecureContext;
}

async function letWaitingIn() {
  const registration = canKeep() ? await navigator.serviceWorker.getRegistration("/") : undefined;
  if (registration?.waiting && !isBusy()) {
    registration.waiting.postMessage({ type: "take-over" });
  }
}

async function register() {
  const registration = await navigator.serviceWorker.register(policy ? policy.createScriptURL(WORKER) : WORKER, {
    scope: "/",
    updateViaCache: "none",
  });
  registration.addEventListener("updatefound", () => {
    registration.installing?.addEventListener("statechange", letWaitingIn);
  });
  await letWaitingIn();
  document.addEventListener("visibilitychange", () => {
    if (document.visibilityState === "visible") {
      registration.update().catch(() => {});
    }
  });
  const first = navigator.serviceWorker.controller === null;
  const { active } = await navigator.serviceWorker.ready;
  if (document.documentElement.dataset.keptAt === undefined) {
    active.postMessage({ type: "speak", language: document.documentElement.lang });
  }
  if (first) {
    // This page was loaded before the worker was there to keep it.
    await keepPages([location.href]);
  }
}

if (canKeep()) {
  navigator.serviceWorker.addEventListener("message", (event) => {
    if (event.data?.type === "busy?") {
      event.ports[0].postMessage({ busy: isBusy() });
    }
  });
  navigator.serviceWorker.startMessages();
  register().catch((error) => {
    document.documentElement.dataset.worker = "failed";
    console.warn("the pages can't be kept on this device:", error);
  });
}
