// The sheet of readings: Enter goes on in the bench's order, and each cell is sent when it is left. What was typed waits
// in the browser's own store (laundry-taps.js) until the lab's book has answered, under a key of its own. All figures
// come from the book's answers; nothing is reckoned here.
(() => {
  const sheet = document.querySelector("form[data-sheet]");
  const page = document.getElementById("tablet");
  if (!page || !window.laundry || !window.laundry.keep) return;
  const { laundry } = window;
  const byId = (id) => document.getElementById(id);
  const told = byId("sheet-told");
  const say = (text, isError = false) => {
    told.textContent = text;
    told.classList.toggle("message--error", isError);
    told.hidden = !text;
  };

  // The cells.

  const cells = () => (sheet ? [...sheet.querySelectorAll("input[name^='pair_']")] : []);
  const pairOf = (cell) => cell.name.slice("pair_".length);
  const place = (pair) => sheet && sheet.querySelector(`[data-pair="${pair}"]`);
  const unit = () => (sheet.querySelector("input[name='unit']:checked") || { value: "mm" }).value;
  const isMine = (tap) => sheet && tap.sheet === sheet.dataset.sheet;
  const sent = new Map(); // cell -> what was handed on of it

  const note = (cell, text, state) => {
    const spot = place(pairOf(cell));
    spot.dataset.state = state;
    spot.querySelector("[data-note]").textContent = text;
    if (state === "wrong") cell.setAttribute("aria-invalid", "true");
    else cell.removeAttribute("aria-invalid");
  };

  // What the book refused stays typed, also over a reload: it is mended, or asked for once more with a reason.
  const SHELF = sheet && `bench-refused:${page.dataset.person}:${sheet.dataset.sheet}`;
  const shelf = () => {
    try {
      return JSON.parse(localStorage.getItem(SHELF)) || {};
    } catch {
      return {};
    }
  };
  const shelve = (pair, what) => {
    const all = shelf();
    if (what) all[pair] = what;
    else delete all[pair];
    try {
      if (Object.keys(all).length) localStorage.setItem(SHELF, JSON.stringify(all));
      else localStorage.removeItem(SHELF);
    } catch { /* it stands on the page, and only there */ }
  };

  const put = (pair, { value, change, correct }) => {
    const spot = place(pair);
    if (!spot) return;
    const cell = spot.querySelector("input");
    if (cell && cell.value.trim() && !sent.has(pair) && spot.dataset.state !== "waits") return; // something else is typed
    if (cell && document.activeElement === cell) return;
    if (cell) {
      (cell.closest(".cell") || cell).remove();
      const link = document.createElement("a");
      link.href = correct;
      link.textContent = "correct";
      spot.querySelector("[data-links]").replaceChildren(link);
    }
    spot.dataset.state = "read";
    spot.querySelector("[data-note]").textContent = "";
    const text = spot.querySelector("[data-value]");
    text.textContent = value;
    text.hidden = false;
    const figure = spot.querySelector("[data-change]");
    if (figure) figure.textContent = change;
    shelve(pair, null);
  };

  const each = (name, found, write) => {
    for (const spot of sheet.querySelectorAll(`[data-${name}]`)) {
      if (spot.dataset[name] in found) write(spot, found[spot.dataset[name]]);
    }
  };

  const show = (answer) => {
    if (!sheet || !answer.cells) return;
    const wrong = answer.wrong || {};
    for (const [pair, cell] of Object.entries(answer.cells)) if (!(pair in wrong)) put(pair, cell);
    each("mean", answer.means, (spot, text) => { spot.textContent = text; });
    each("overall", answer.overall, (spot, { change }) => { spot.textContent = change; });
    each("spread", answer.overall, (spot, { spread }) => { spot.textContent = spread; });
    each("count", answer.overall, (spot, { read }) => { spot.textContent = String(read); });
    byId("cells-left").textContent = String(answer.left);
    if (answer.left === 0) finished();
  };

  const finished = () => {
    if (byId("figures-later")) {
      location.reload();
      return;
    }
    byId("all-read").hidden = false;
    byId("save").hidden = true;
    if (!cells().length && !document.activeElement.closest("a, input, button")) byId("all-read").querySelector("a").focus();
  };

  const refuse = (tap, answer) => {
    if (!isMine(tap)) {
      say(`Not saved: ${tap.what}. ${answer.sentence || answer.told}`, true);
      return;
    }
    const cell = sheet.querySelector(`input[name='pair_${tap.pair}']`);
    const sentence = (answer.wrong && answer.wrong[tap.pair]) || answer.sentence || answer.told;
    if (!cell) {
      say(`Not saved: ${tap.what}. ${sentence}`, true);
      return;
    }
    if (!cell.value.trim()) cell.value = tap.text;
    if (cell.value.trim() === tap.text) {
      note(cell, sentence, "wrong");
      say(`${cell.getAttribute("aria-label")}: ${sentence}`, true);
      shelve(tap.pair, { text: tap.text, sentence, again: answer.again, early: answer.early });
    }
    if (answer.again) byId("again").hidden = false;
    if (answer.early) byId("early").hidden = false;
  };

  // The way to the book.

  const WHY = {
    network: "The lab's book cannot be reached.",
    house: "The lab's book did not take it in.",
    "sign-in": "Your sign-in has ended: sign in again in another tab.",
    person: "Somebody else is signed in in this browser. These values go when you sign in again.",
  };
  const PAUSES = [1, 2, 4, 8, 16, 30];
  let tries = 0;
  let timer = 0;

  const tellWaiting = async (why) => {
    const { mine } = await laundry.waiting();
    for (const tap of mine.filter(isMine)) {
      const cell = sheet.querySelector(`input[name='pair_${tap.pair}']`);
      if (!cell) continue;
      if (!cell.value.trim()) {
        cell.value = tap.text;
        sent.set(tap.pair, tap.text);
      }
      if (cell.value.trim() === tap.text) note(cell, "waits to be sent", "waits");
    }
    if (mine.length && why) {
      say(`${WHY[why]} ${mine.length === 1 ? "1 value waits" : `${mine.length} values wait`} in this browser; it is sent again by itself.`, true);
    } else if (!mine.length && told.classList.contains("message--error") && told.textContent.includes("sent again by itself")) {
      say("All that waited is in the lab's book.");
    }
    return mine.length;
  };

  const sendAll = async () => {
    clearTimeout(timer);
    const came = await laundry.send();
    for (const { tap, answer } of came.answers) {
      if (answer.outcome === "written" && isMine(tap)) show(answer);
      else if (answer.outcome !== "written") {
        show(isMine(tap) ? answer : {});
        refuse(tap, answer);
      }
    }
    if (came.why) {
      timer = setTimeout(sendAll, PAUSES[Math.min(tries, PAUSES.length - 1)] * 1000);
      tries += 1;
    } else {
      tries = 0;
    }
    await tellWaiting(came.why);
  };

  const key = () => {
    const bytes = crypto.getRandomValues(new Uint8Array(16));
    bytes[6] = (bytes[6] & 15) | 64;
    bytes[8] = (bytes[8] & 63) | 128;
    const hex = [...bytes].map((byte) => byte.toString(16).padStart(2, "0")).join("");
    return `${hex.slice(0, 8)}-${hex.slice(8, 12)}-${hex.slice(12, 16)}-${hex.slice(16, 20)}-${hex.slice(20)}`;
  };

  const leave = async (cell) => {
    const pair = pairOf(cell);
    const text = cell.value.trim();
    if (!text || sent.get(pair) === text) return;
    sent.set(pair, text);
    const one = { key: key(), pair, text, sheet: sheet.dataset.sheet, path: sheet.getAttribute("action") };
    const names = ["request", "stage", "before", "at", "late_reason", "early_reason", "remark"];
    const fields = names.map((name) => [name, (sheet.elements[name] || { value: "" }).value]);
    const confirmed = sheet.querySelector("input[name='confirmed']");
    if (confirmed && confirmed.checked) fields.push(["confirmed", "on"]);
    one.fields = [...fields, ["unit", unit()], ["key", one.key], [cell.name, text]];
    one.what = `${sheet.dataset.name}, ${cell.getAttribute("aria-label")}`;
    one.words = text;
    one.at = laundry.now();
    try {
      // Typed anew before it was sent: the newer one goes.
      const { mine } = await laundry.waiting();
      for (const old of mine) if (isMine(old) && old.pair === pair) await laundry.forget(old);
      await laundry.keep(one);
    } catch {
      note(cell, "not kept: press Save the readings", "waits"); // this browser keeps nothing: as without script
      return;
    }
    note(cell, "is being saved", "waits");
    await sendAll();
  };

  // By keyboard.

  if (sheet) {
    const isCell = (target) => target.matches("input[name^='pair_']");
    const go = (cell) => {
      const all = cells();
      const after = all.slice(all.indexOf(cell) + 1);
      const isOpen = (one) => one !== cell && sent.get(pairOf(one)) !== one.value.trim();
      const next = after.find(isOpen) || all.find(isOpen);
      if (next) {
        next.focus();
        next.select();
      } else {
        cell.blur();
      }
    };
    sheet.addEventListener("keydown", (event) => {
      if (event.key !== "Enter" || event.isComposing || !isCell(event.target)) return;
      event.preventDefault();
      const cell = event.target;
      leave(cell);
      go(cell);
    });
    sheet.addEventListener("change", (event) => {
      if (isCell(event.target)) leave(event.target);
      // A reason given: what was refused for want of it is sent again.
      if (event.target.name === "early_reason" && event.target.value.trim()) {
        for (const cell of cells().filter((one) => place(pairOf(one)).dataset.state === "wrong")) {
          sent.delete(pairOf(cell));
          leave(cell);
        }
      }
    });
    sheet.addEventListener("input", (event) => {
      if (isCell(event.target) && place(pairOf(event.target)).dataset.state === "wrong") note(event.target, "", "");
    });
    // Fractions and signs are not on a keypad for decimals.
    const keypad = () => cells().forEach((cell) => {
      cell.inputMode = ["mm", "cm"].includes(unit()) ? "decimal" : "text";
    });
    sheet.addEventListener("change", (event) => { if (event.target.name === "unit") keypad(); });
    keypad();
    for (const [pair, { text, sentence, again, early }] of Object.entries(shelf())) {
      const cell = sheet.querySelector(`input[name='pair_${pair}']`);
      if (!cell || cell.value.trim()) continue;
      cell.value = text;
      sent.set(pair, text);
      note(cell, sentence, "wrong");
      if (again) byId("again").hidden = false;
      if (early) byId("early").hidden = false;
    }
    const first = cells().find((cell) => cell.getAttribute("aria-invalid")) || cells().find((cell) => !cell.value);
    if (first && !document.querySelector(".summary")) first.focus({ preventScroll: true });
  }

  window.addEventListener("online", sendAll);
  document.addEventListener("visibilitychange", () => { if (document.visibilityState === "visible") sendAll(); });
  tellWaiting().then((many) => { if (many) sendAll(); });
})();
