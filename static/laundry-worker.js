// Keeps the laundry's pages last seen, with their static files, for when the house does not answer. Pages of one
// person at a time; nothing that is posted, nothing outside /laundry/ and /static/. The network is always asked first.
const PAGES = "laundry-pages-";
const FILES = "laundry-files";
const PATIENCE = 4000;
const MOST = 60;

self.addEventListener("install", () => self.skipWaiting());
self.addEventListener("activate", (event) => event.waitUntil(self.clients.claim()));

self.addEventListener("fetch", (event) => {
  const { request } = event;
  const address = new URL(request.url);
  if (request.method !== "GET" || address.origin !== self.location.origin) return;
  if (isFile(address)) event.respondWith(answer(event, keepFile, keptFile));
  else if (request.mode === "navigate" && isPage(address)) event.respondWith(answer(event, keepPage, keptPage));
});

// A page that came before this worker, or that has changed since it came, asks to be kept.
self.addEventListener("message", (event) => {
  const wanted = (event.data.keep || []).map((text) => new URL(text));
  event.waitUntil(Promise.all(wanted.map(async (address) => {
    if (address.origin !== self.location.origin || !(isFile(address) || isPage(address))) return;
    const response = await fetch(address, { cache: event.data.how });
    await (isFile(address) ? keepFile : keepPage)(address.href, response);
  })));
});

const isFile = (address) => address.pathname.startsWith("/static/");
const isPage = (address) => address.pathname.startsWith("/laundry/") && address.pathname.endsWith("/");
const soon = () => new Promise((resolve) => { setTimeout(resolve, PATIENCE); });

async function answer(event, keep, kept) {
  const { url } = event.request;
  const fresh = fetch(event.request);
  event.waitUntil(fresh.then((response) => keep(url, response.clone())).catch(() => {}));
  const known = await kept(url);
  if (!known) return fresh.catch(() => (event.request.mode === "navigate" ? nothing() : Response.error()));
  try {
    const response = await Promise.race([fresh, soon()]);
    return response && ![502, 503, 504].includes(response.status) ? response : known;
  } catch {
    return known;
  }
}

async function keepFile(url, response) {
  if (!response.ok) return;
  const files = await caches.open(FILES);
  await files.put(url, response);
  await trim(files);
}

async function keptFile(url) {
  return (await caches.open(FILES)).match(url, { ignoreVary: true });
}

// A page says whose it is. What was kept of anybody else goes before it is kept.
async function keepPage(url, response) {
  if (response.status !== 200 || response.redirected) return;
  const text = await response.text();
  const person = /data-person="(\d+)"/.exec(text);
  if (!person) return;
  const own = PAGES + person[1];
  for (const name of await caches.keys()) {
    if (name.startsWith(PAGES) && name !== own) await caches.delete(name);
  }
  const pages = await caches.open(own);
  await pages.put(url, new Response(text, { headers: response.headers }));
  await trim(pages);
}

async function ownPages() {
  const name = (await caches.keys()).find((one) => one.startsWith(PAGES));
  return name && caches.open(name);
}

async function keptPage(url) {
  const pages = await ownPages();
  const page = pages && (await pages.match(url, { ignoreVary: true }));
  if (!page) return undefined;
  const text = (await page.text()).replace("<html ", "<html data-kept "); // the page then says how old it is
  return new Response(text, { headers: page.headers });
}

async function trim(cache) {
  const requests = await cache.keys();
  await Promise.all(requests.slice(0, -MOST).map((request) => cache.delete(request)));
}

// Neither the house nor this tablet has the page: say so, and what there is instead.
async function nothing() {
  const pages = await ownPages();
  const found = pages ? await pages.keys() : [];
  const links = await Promise.all(found.map(async (request) => {
    const title = /<title>([^<]*)/.exec(await (await pages.match(request, { ignoreVary: true })).text());
    const { pathname, search } = new URL(request.url);
    return `<li><a href="${pathname}${search.replaceAll("&", "&amp;").replaceAll('"', "%22")}">${title ? title[1] : pathname}</a></li>`;
  }));
  const look = (await (await caches.open(FILES)).keys()).find((request) => /\/house[^/]*\.css$/.test(request.url));
  const body = `<!doctype html><html lang="en-GB"><head><meta charset="utf-8"><title>Offline</title>
<meta name="viewport" content="width=device-width, initial-scale=1">
${look ? `<link rel="stylesheet" href="${new URL(look.url).pathname}">` : ""}</head>
<body><main><h1>Offline</h1><p>The lab's computer does not answer, and this page was not kept in this tablet.
What was tapped and waits is safe: it is sent from any page of the laundry once the connection is back.</p>
${links.length ? `<p>Kept in this tablet:</p><ul>${links.join("")}</ul>` : ""}</main></body></html>`;
  const headers = { "Content-Type": "text/html; charset=utf-8", "Content-Security-Policy": "default-src 'self'" };
  return new Response(body, { status: 503, headers });
}
