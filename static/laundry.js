// The laundry's pages with poor Wi-Fi: a tap is sent by script and waits in the tablet while the house does not answer.
// The operator sees what waits, what has reached the lab's book, and how old a page is that comes out of the tablet.
(() => {
  const page = document.getElementById("tablet");
  if (!page || !window.laundry.keep) return;
  const { laundry } = window;
  const byId = (id) => document.getElementById(id);
  const once = (box, part) => box.querySelector(`[data-${part}]`);
  const stamp = (time, moment) => {
    time.textContent = laundry.clock(moment);
    time.dateTime = new Date(moment).toISOString();
  };

  laundry.say = (text) => {
    const message = page.querySelector("[data-message]").content.firstElementChild.cloneNode(true);
    message.querySelector("span").textContent = text;
    byId("tap-told").append(message);
  };

  // What waits.

  const WHY = {
    network: "The lab's book cannot be reached.",
    house: "The lab's book did not take it in.",
    "sign-in": "Your sign-in has ended.",
    person: "Somebody else is signed in in this tablet. These taps go when you sign in again.",
  };

  const row = (tap) => {
    const line = page.querySelector("[data-row]").content.firstElementChild.cloneNode(true);
    once(line, "what").textContent = tap.what;
    once(line, "words").textContent = tap.words;
    stamp(once(line, "at"), tap.at);
    return line;
  };

  // A form whose tap waits is put aside, so that nobody taps it a second time.
  const mark = (mine) => {
    for (const old of document.querySelectorAll("[data-waits]")) old.remove();
    for (const form of document.querySelectorAll("form[data-tap]")) {
      const tap = mine.find((one) => one.path === form.getAttribute("action"));
      form.hidden = Boolean(tap);
      if (!tap) continue;
      const note = page.querySelector("[data-mark]").content.firstElementChild.cloneNode(true);
      stamp(once(note, "at"), tap.at);
      form.after(note);
    }
  };

  // What comes after a step that waits, where the page has it ready: it is tapped now and waits behind it.
  const offered = new Set();
  const offer = (mine) => {
    for (const next of document.querySelectorAll("template[data-after]")) {
      if (offered.has(next) || !mine.some((tap) => tap.path === next.dataset.after)) continue;
      offered.add(next);
      next.after(next.content.firstElementChild.cloneNode(true));
    }
  };

  const tellOthers = (others) => {
    const names = [...new Set(others.map((tap) => tap.name))];
    const lines = names.map((name) => {
      const many = others.filter((tap) => tap.name === name).length;
      return `${name} has ${many} ${many === 1 ? "tap" : "taps"} waiting in this tablet, sent when ${name} signs in here.`;
    });
    byId("others-waiting").hidden = !lines.length;
    byId("others-waiting").querySelector("span").textContent = lines.join(" ");
  };

  const show = async () => {
    const { mine, others } = await laundry.waiting();
    const box = byId("waiting");
    box.hidden = !mine.length;
    once(box, "count").textContent = mine.length;
    once(box, "taps").replaceChildren(...mine.map(row));
    offer(mine);
    mark(mine);
    tellOthers(others);
    return mine.length;
  };

  // The worker keeps this page and its files as they are now in the house, or as the browser has just had them.
  const keepPage = async (how) => {
    if (!navigator.serviceWorker) return;
    const had = performance.getEntriesByType("resource").map((one) => one.name);
    const files = had.filter((name) => new URL(name).pathname.startsWith("/static/"));
    const ready = await navigator.serviceWorker.ready;
    ready.active.postMessage({ keep: how === "reload" ? [location.href] : [location.href, ...files], how });
  };

  // Sending again: sooner or later, when the tablet is back online, and when somebody asks for it.

  const PAUSES = [2, 4, 8, 16, 32, 60];
  let tries = 0;
  let timer = 0;
  let typed = false;
  document.addEventListener("input", () => { typed = true; });

  const rest = (why) => {
    const pause = PAUSES[Math.min(tries, PAUSES.length - 1)] * (0.8 + 0.4 * Math.random());
    tries += 1;
    clearTimeout(timer);
    timer = setTimeout(sendAll, pause * 1000);
    if (navigator.storage && navigator.storage.persist) navigator.storage.persist();
    const box = byId("waiting");
    once(box, "trouble").textContent = `${WHY[why]} Tried at ${laundry.clock(laundry.now())}; it tries again by itself.`;
    const signIn = once(box, "sign-in");
    signIn.href = `${page.dataset.signIn}?next=${encodeURIComponent(location.pathname + location.search)}`;
    signIn.hidden = why !== "sign-in";
  };

  // What came to the book while the page stood open: said now, or on the fresh page that shows it.
  const PLACE = "laundry-told";
  const lines = ({ written, kept }) => [
    ...(written.length ? [`In the lab's book now: ${written.map((tap) => tap.what).join("; ")}.`] : []),
    ...kept.map((tap) => `Not taken by the lab's book: ${tap.what}. ${tap.refusal} It is kept for the manager.`),
  ];
  const arrived = (came) => {
    if (!lines(came).length) return;
    if (typed || came.why) { // what is typed here is not thrown away
      lines(came).forEach(laundry.say);
      keepPage("reload");
    } else { // of what was kept the house itself tells there
      sessionStorage.setItem(PLACE, JSON.stringify(lines({ ...came, kept: [] })));
      location.reload();
    }
  };

  const settle = async (came) => {
    if (came.why) rest(came.why);
    else tries = 0;
    await show();
  };

  async function sendAll() {
    clearTimeout(timer);
    if (!(await laundry.waiting()).mine.length) return;
    const came = await laundry.send();
    await settle(came);
    arrived(came);
  }

  // A tap.

  const told = (text) => (text || "").replace(/\s+/g, " ").trim();

  const labelOf = (control) => {
    if (!control.labels || !control.labels.length) return "";
    const label = control.labels[0].cloneNode(true);
    label.querySelectorAll(".required").forEach((one) => one.remove());
    return told(label.textContent);
  };
  const named = (control) => {
    const label = labelOf(control);
    if (control.matches("[type=checkbox], [type=radio]")) return control.checked ? label : "";
    const value = control.matches("select") ? control.selectedOptions[0].text : control.value;
    return label && told(value) ? `${label}: ${told(value)}` : "";
  };

  const tapOf = (form) => {
    const fields = [...new FormData(form)].filter(([name]) => name !== "csrfmiddlewaretoken");
    return {
      key: form.elements.key.value,
      path: form.getAttribute("action"),
      swaps: form.hasAttribute("hx-post"),
      what: form.dataset.tap,
      words: [...form.elements].map(named).filter(Boolean).join(" · "),
      at: laundry.now(),
      fields,
    };
  };

  const answered = (form, answer) => {
    if (answer.next) {
      location.assign(answer.next);
    } else if (form.hasAttribute("hx-post")) {
      window.htmx.swap(form.closest("li"), answer.html, { swapStyle: "outerHTML" });
      show();
      keepPage("reload");
    } else {
      const fresh = new DOMParser().parseFromString(answer.html, "text/html").querySelector("main");
      document.querySelector("main").replaceWith(fresh);
      window.htmx.process(fresh);
      laundry.tellTimers();
      show();
      (fresh.querySelector("[autofocus]") || fresh).focus();
    }
  };

  const tapped = async (form) => {
    const tap = tapOf(form);
    try {
      await laundry.keep(tap);
    } catch {
      form.submit(); // this tablet keeps nothing: as without script
      return;
    }
    typed = false;
    const slow = setTimeout(show, 1000);
    const came = await laundry.send(tap.key);
    clearTimeout(slow);
    if (came.answer && came.answer.outcome !== "waits") {
      answered(form, came.answer);
      return;
    }
    if (!came.why) { // another page of this tablet was quicker and has sent it
      location.reload();
      return;
    }
    await settle(came);
    byId("tap-told").replaceChildren();
    laundry.say(`${tap.what}: kept in this tablet, not in the lab's book yet.`);
    if (form.hidden) form.nextElementSibling.focus({ preventScroll: true });
    arrived(came);
    form.removeAttribute("aria-busy");
  };

  document.addEventListener("submit", (event) => {
    const form = event.target;
    if (!form.matches("form[data-tap]")) return;
    event.preventDefault();
    event.stopImmediatePropagation(); // htmx's own sending stays for when this script is not there
    if (form.hasAttribute("aria-busy")) return;
    form.setAttribute("aria-busy", "true");
    tapped(form);
  }, true);

  // The page itself.

  // The proposal for the ballast is a help: without it nothing is lost that the house's page would have to tell of.
  window.addEventListener("htmx:sendError", (event) => {
    if (event.detail.requestConfig.verb === "get") event.stopPropagation();
  }, true);

  const wake = () => { if (document.visibilityState === "visible") sendAll(); };
  window.addEventListener("online", sendAll);
  window.addEventListener("pageshow", (event) => { if (event.persisted) show().then(sendAll); });
  document.addEventListener("visibilitychange", wake);
  document.addEventListener("click", (event) => {
    if (event.target.closest("[data-send]")) sendAll();
  });

  if (laundry.kept) {
    stamp(byId("as-of").querySelector("time"), Number(page.dataset.now));
    byId("as-of").hidden = false;
  }
  for (const text of JSON.parse(sessionStorage.getItem(PLACE) || "[]")) laundry.say(text);
  sessionStorage.removeItem(PLACE);
  show().then(sendAll);

  if (navigator.serviceWorker) {
    const looked = Boolean(navigator.serviceWorker.controller);
    navigator.serviceWorker.register(page.dataset.worker).catch(() => {}); // without it all but the reload works
    if (!looked) keepPage("force-cache"); // this page came before the worker
  }
})();
