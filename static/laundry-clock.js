// The house's clock in this tablet, and from it how long each run has gone on: the same on every device, because the
// times come from the house and a tablet whose clock is wrong knows by how much.
window.laundry = {};
(() => {
  const page = document.getElementById("tablet");
  if (!page) return;
  const { laundry } = window;
  const PLACE = "laundry-clock";
  const [visit] = performance.getEntriesByType("navigation");
  laundry.kept = "kept" in document.documentElement.dataset; // the worker had this page; the house did not answer

  const remembered = () => {
    try {
      return Number(localStorage.getItem(PLACE)) || 0;
    } catch {
      return 0;
    }
  };
  const measured = () => {
    const ahead = Math.round(performance.timeOrigin + (visit ? visit.responseStart : 0) - Number(page.dataset.now));
    try {
      localStorage.setItem(PLACE, ahead);
    } catch { /* measured again on the next page */ }
    return ahead;
  };
  // A page out of a cache says what the clock was then, not what it is now.
  const ahead = laundry.kept || (visit && visit.type === "back_forward") ? remembered() : measured();
  laundry.now = () => Date.now() - ahead;

  laundry.clock = (moment) => {
    const then = new Date(moment);
    const time = then.toLocaleTimeString("en-GB", { hour: "2-digit", minute: "2-digit" });
    const today = then.toDateString() === new Date(laundry.now()).toDateString();
    return today ? time : `${then.toLocaleDateString("en-GB", { day: "numeric", month: "short" })}, ${time}`;
  };

  const span = (milliseconds, round) => {
    const minutes = Math.max(0, Math[round](milliseconds / 60000));
    return minutes < 60 ? `${minutes} min` : `${Math.floor(minutes / 60)} h ${String(minutes % 60).padStart(2, "0")} min`;
  };

  const unload = (timer) => {
    const run = timer.closest("[data-run]");
    const list = document.querySelector("#unload-now ul");
    if (!run || !list || list.contains(run)) return;
    list.append(run);
    document.getElementById("unload-now").hidden = false;
    if (laundry.say) laundry.say(`${run.dataset.run}: ${timer.querySelector("[data-over]").textContent.trim()}.`);
  };

  const tell = () => {
    const now = laundry.now();
    for (const timer of document.querySelectorAll("[data-timer]")) {
      const left = Date.parse(timer.dataset.until) - now;
      const gone = span(now - Date.parse(timer.dataset.since), "floor");
      const rest = left > 0 ? `about ${span(left, "ceil")} left` : `${span(-left, "floor")} over`;
      timer.querySelector("[data-left]").textContent = `${gone} so far, ${rest}`;
      timer.querySelector("[data-over]").hidden = left > 0;
      if (left <= 0) unload(timer);
    }
  };
  laundry.tellTimers = tell;
  tell();
  setInterval(tell, 5000);
  document.addEventListener("visibilitychange", tell);
  window.addEventListener("pageshow", tell);
})();
