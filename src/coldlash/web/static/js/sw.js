// The service worker. VERSION and SHELL stand in the lines put before this file when it is served.
// Files: kept by version. Pages: from the book when it answers in time, else as kept, and then marked with their age.
// Whatever changes the book passes by here untouched: that is the outbox's affair.

const SHELL_CACHE = `shell-${VERSION}`;
const PAGES_CACHE = "pages";
const PATIENCE_MS = 4000;
const ANSWER_MS = 1000;
const KEPT_AT = "x-coldlash-kept-at";
const AGE_NOTICE = /<!--coldlash:age ([\s\S]*?)-->/;

self.addEventListener("install", (event) => {
  event.waitUntil(caches.open(SHELL_CACHE).then((cache) => cache.addAll(SHELL)));
});

self.addEventListener("activate", (event) => {
  event.waitUntil(
    (async () => {
      const names = await caches.keys();
      const old = names.filter((name) => name.startsWith("shell-") && name !== SHELL_CACHE);
      await Promise.all(old.map((name) => caches.delete(name)));
      await self.clients.claim();
    })(),
  );
});

self.addEventListener("message", (event) => {
  const { type, urls, language } = event.data ?? {};
  if (type === "keep") {
    event.waitUntil(Promise.all(urls.map(keepPage)));
  } else if (type === "forget") {
    event.waitUntil(caches.delete(PAGES_CACHE));
  } else if (type === "speak") {
    event.waitUntil(speak(language));
  } else if (type === "take-over") {
    event.waitUntil(takeOverIfIdle());
  }
});

self.addEventListener("fetch", (event) => {
  const { request } = event;
  const url = new URL(request.url);
  if (request.method !== "GET" || url.origin !== self.location.origin) {
    return;
  }
  if (request.mode === "navigate") {
    event.respondWith(showPage(event));
  } else if (url.pathname.startsWith("/static/")) {
    event.respondWith(giveFile(request, url));
  } else if (url.pathname === "/manifest.webmanifest") {
    event.respondWith(fetch(request).catch(() => caches.match("/manifest.webmanifest")));
  }
});

async function giveFile(request, url) {
  const kept = await caches.match(request);
  if (kept) {
    return kept;
  }
  try {
    return await fetch(request);
  } catch (error) {
    // A page kept by an older version asks for that version's files; today's do.
    const today = url.pathname.replace(/^\/static\/[^/]+\//, `/static/${VERSION}/`);
    const file = await caches.match(today);
    if (file) {
      return file;
    }
    throw error;
  }
}

async function showPage(event) {
  const key = new URL(event.request.url);
  key.hash = "";
  const network = fetch(event.request).then(async (response) => {
    await takeNote(key.href, response.clone());
    return response;
  });
  event.waitUntil(network.catch(() => {}));
  const kept = await keptPage(key.href);
  if (kept === null) {
    return network.catch(async () => (await caches.match("/offline")) ?? Response.error());
  }
  const answered = await Promise.race([network.catch(() => null), pause(PATIENCE_MS)]);
  return answered ?? kept;
}

async function takeNote(href, response) {
  if (response.status === 401) {
    // Cut off: what was out of the book goes. The outbox stays, it is the owner's.
    await caches.delete(PAGES_CACHE);
    return;
  }
  const headers = new Headers(response.headers);
  const html = (headers.get("content-type") ?? "").startsWith("text/html");
  const secret = (headers.get("cache-control") ?? "").includes("no-store");
  if (response.status !== 200 || response.type !== "basic" || response.redirected || !html || secret) {
    return;
  }
  const text = await response.text();
  if (!AGE_NOTICE.test(text)) {
    return; // it could not say how old it is
  }
  headers.set(KEPT_AT, new Date().toISOString());
  headers.delete("content-encoding");
  headers.delete("content-length");
  const cache = await caches.open(PAGES_CACHE);
  await cache.put(href, new Response(text, { headers }));
}

async function keptPage(href) {
  const cache = await caches.open(PAGES_CACHE);
  const found = await cache.match(href);
  if (!found) {
    return null;
  }
  const keptAt = found.headers.get(KEPT_AT);
  const text = await found.text();
  const when = new Date(keptAt).toLocaleString(languageOf(text), { dateStyle: "long", timeStyle: "short" });
  const marked = text
    .replace(AGE_NOTICE, (_, notice) => notice.replaceAll("{when}", `<time datetime="${keptAt}">${when}</time>`))
    .replace("<html ", `<html data-kept-at="${keptAt}" `);
  return new Response(marked, { headers: found.headers });
}

function languageOf(text) {
  return /<html lang="([A-Za-z-]+)"/.exec(text)?.[1];
}

// Another language was chosen: what is kept is fetched again, so that it is there in that language without a network.
async function speak(language) {
  const offline = await caches.match("/offline");
  if (!offline || languageOf(await offline.text()) === language) {
    return;
  }
  const shell = await caches.open(SHELL_CACHE);
  try {
    await shell.addAll(["/offline", "/manifest.webmanifest"]);
  } catch {
    return; // no answer: it is asked again by the next page
  }
  const pages = await caches.open(PAGES_CACHE);
  await Promise.all((await pages.keys()).map((request) => keepPage(request.url)));
}

async function keepPage(url) {
  const href = new URL(url, self.location.origin);
  href.hash = "";
  if (href.origin !== self.location.origin) {
    return;
  }
  try {
    await takeNote(href.href, await fetch(href, { credentials: "same-origin", headers: { accept: "text/html" } }));
  } catch {
    // no answer: what is kept stays as it is
  }
}

// A new version waits while a visit is open anywhere, or while a page doesn't say: it then comes at the next start.
async function takeOverIfIdle() {
  const pages = await self.clients.matchAll({ includeUncontrolled: true, type: "window" });
  const answers = await Promise.all(pages.map(isIdle));
  if (answers.every(Boolean)) {
    await self.skipWaiting();
  }
}

function isIdle(client) {
  const { port1, port2 } = new MessageChannel();
  const answer = new Promise((resolve) => {
    port1.onmessage = (event) => resolve(event.data?.busy === false);
  });
  client.postMessage({ type: "busy?" }, [port2]);
  return Promise.race([answer, pause(ANSWER_MS).then(() => false)]);
}

function pause(ms) {
  return new Promise((resolve) => setTimeout(() => resolve(null), ms));
}
