// What was tapped waits here until the lab's book has it: in the order in which it was tapped, each tap under its own
// key, so that one that is sent again is one row. A tap leaves this store only when the house says that it is written,
// refused before the eyes of who tapped it, or kept for the manager.
(() => {
  const page = document.getElementById("tablet");
  if (!page || !window.indexedDB) return;
  const { laundry } = window;
  const person = Number(page.dataset.person);
  const store = page.dataset.store || "laundry"; // each room sends its own
  const PATIENCE = 10000;

  // The store.

  const open = () =>
    new Promise((resolve, reject) => {
      const asked = indexedDB.open(store, 1);
      asked.onupgradeneeded = () => {
        const taps = asked.result.createObjectStore("taps", { keyPath: "place", autoIncrement: true });
        taps.createIndex("key", "key", { unique: true });
      };
      asked.onsuccess = () => resolve(asked.result);
      asked.onerror = () => reject(asked.error);
    });

  const inStore = async (mode, act) => {
    const base = await open();
    try {
      return await new Promise((resolve, reject) => {
        const deal = base.transaction("taps", mode, { durability: "strict" });
        const asked = act(deal.objectStore("taps"));
        deal.oncomplete = () => resolve(asked.result);
        deal.onabort = () => reject(deal.error);
      });
    } finally {
      base.close();
    }
  };

  const all = () => inStore("readonly", (taps) => taps.getAll());
  const drop = (tap) => inStore("readwrite", (taps) => taps.delete(tap.place));

  laundry.keep = async (tap) => {
    try {
      await inStore("readwrite", (taps) => taps.add({ ...tap, person, name: page.dataset.name, token: page.dataset.token }));
    } catch (error) {
      if (error.name !== "ConstraintError") throw error; // tapped twice: the first one waits already
    }
  };

  laundry.forget = drop;

  laundry.waiting = async () => {
    const taps = await all();
    return { mine: taps.filter((tap) => tap.person === person), others: taps.filter((tap) => tap.person !== person) };
  };

  // The way to the lab's book.

  const cookie = (name) => (document.cookie.split("; ").find((part) => part.startsWith(`${name}=`)) || "").slice(name.length + 1);

  const send = async (tap, how, signal) => {
    const headers = { "X-Tap": how, "X-CSRFToken": cookie("csrftoken") };
    if (how === "first" && tap.swaps) headers["HX-Request"] = "true";
    const body = new URLSearchParams(tap.fields);
    body.set("tapped_by", tap.token);
    body.set("tapped_at", tap.at);
    body.set("tapped_what", tap.what);
    body.set("tapped_words", tap.words);
    const answer = await fetch(tap.path, { method: "POST", body, headers, signal, redirect: "manual" });
    const outcome = answer.headers.get("X-Tapped"); // only the house itself says this, no portal or proxy on the way
    const text = await answer.text();
    const isData = (answer.headers.get("Content-Type") || "").startsWith("application/json");
    const told = isData ? JSON.parse(text) : { html: text };
    if (outcome) return { outcome, ...told };
    return { outcome: "waits", why: { 401: "sign-in", 409: "person" }[answer.status] || "house" };
  };

  const attempt = async (tap, how) => {
    const stop = new AbortController();
    const patience = setTimeout(() => stop.abort(), PATIENCE);
    try {
      return await send(tap, how, stop.signal);
    } catch {
      return { outcome: "waits", why: "network" };
    } finally {
      clearTimeout(patience);
    }
  };

  // One sender at a time, in this page and in every other page of this tablet.
  let before = Promise.resolve();
  const alone = (act) => {
    const run = () => (navigator.locks ? navigator.locks.request(`${store}-taps`, act) : act());
    before = before.then(run, run);
    return before;
  };

  // Sends what waits until something stays behind. `first` is the key of the tap that a person has just made and whose
  // answer they wait for; all others have waited, and what no longer fits of them is kept for the manager.
  laundry.send = (first = "") =>
    alone(async () => {
      const came = { written: [], kept: [], answers: [], answer: null, why: "" };
      for (const tap of (await laundry.waiting()).mine) {
        const isFirst = tap.key === first;
        const answer = await attempt(tap, isFirst ? "first" : "late");
        if (isFirst) came.answer = answer;
        if (answer.outcome === "waits") return { ...came, why: answer.why };
        await drop(tap);
        came.answers.push({ tap, answer });
        if (answer.outcome === "kept") came.kept.push({ ...tap, refusal: answer.kept });
        else if (!isFirst) came.written.push(tap);
      }
      return came;
    });
})();
