// What htmx needs beyond its own: a session that has ended, and a lab that does not answer.
(() => {
  const say = (text) => {
    const place = document.getElementById("messages");
    const note = document.createElement("p");
    note.className = "message message--error";
    note.textContent = text;
    place.replaceChildren(note);
    place.scrollIntoView({ block: "nearest" });
  };
  document.addEventListener("htmx:beforeSwap", (event) => {
    const landed = new URL(event.detail.xhr.responseURL || location.href, location.href);
    if (landed.pathname.startsWith("/sign-in/")) {
      event.detail.shouldSwap = false;
      location.assign("/sign-in/?next=" + encodeURIComponent(location.pathname + location.search));
    }
  });
  // What the laundry keeps for when the connection is gone goes with the person it was kept for.
  const forget = async () => {
    const kept = "caches" in window ? await caches.keys() : [];
    kept.filter((name) => name.startsWith("laundry-pages-")).forEach((name) => caches.delete(name));
  };
  document.addEventListener("submit", (event) => {
    if (event.target.matches("form[action^='/sign-out/']")) forget();
  });
  if (location.pathname.startsWith("/sign-in/")) forget();
  document.addEventListener("htmx:sendError", () =>
    say("The lab's computer does not answer. Nothing was saved; try again when the connection is back."));
  document.addEventListener("htmx:responseError", (event) =>
    say(event.detail.xhr.status === 403
      ? "This page was open too long, or your roles do not cover this step. Nothing was saved; open the page again."
      : "That did not work and nothing was saved. Open the page again to see how things stand."));
})();
