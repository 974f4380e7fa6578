// Keeps a driver's pages readable without a signal: the newest copy that was seen, told as such by
// the page itself. Only pages under this address are kept, and only until signing out.
const KEPT = "road";
const PATIENCE_MS = 4000;

self.addEventListener("install", () => self.skipWaiting());
self.addEventListener("activate", (event) => event.waitUntil(self.clients.claim()));

self.addEventListener("fetch", (event) => {
  const request = event.request;
  if (request.method !== "GET" || new URL(request.url).origin !== self.location.origin) return;
  if (request.mode === "navigate") event.respondWith(page(request));
  else if (["script", "style", "image"].includes(request.destination)) event.respondWith(part(request));
});

async function page(request) {
  const kept = await caches.open(KEPT);
  const came = fetch(request).then((response) => {
    // A page that sends on to signing in must not take the place of the one it stands before.
    if (response.ok && !response.redirected) keep(kept, request, response.clone()).catch(() => {});
    return response;
  });
  came.catch(() => {});
  const old = await kept.match(request.url);
  if (!old) return came.catch(() => new Response("No signal, and this page was not kept. Go back.", {
    status: 503, headers: {"Content-Type": "text/plain; charset=utf-8"},
  }));
  const late = new Promise((resolve) => setTimeout(() => resolve(old), PATIENCE_MS));
  return Promise.race([came.catch(() => old), late]);
}

// Whole before it is put: a copy that breaks off would take the place of the one before it.
async function keep(kept, request, copy) {
  const {status, headers} = copy;
  await kept.put(request.url, new Response(await copy.blob(), {status, headers}));
}

async function part(request) {
  const kept = await caches.open(KEPT);
  try {
    const response = await fetch(request);
    if (response.ok) keep(kept, request, response.clone()).catch(() => {});
    return response;
  } catch (failed) {
    const old = await kept.match(request.url);
    if (old) return old;
    throw failed;
  }
}
