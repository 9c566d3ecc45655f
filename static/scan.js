// A hand scanner types like a keyboard, only faster, and ends with Enter. What it types while no field is being filled
// goes to the scan field and is looked up; typing by hand is left alone, and so is every field.
(() => {
  const field = document.getElementById("scan-code");
  if (!field) return;
  const BETWEEN = 80; // milliseconds between two characters of a scanner at most; fingers are slower
  const SHORTEST = 4;
  let typed = "", last = 0;
  const fills = (place) => place instanceof Element && place.closest(
    "textarea, select, [contenteditable], input:not([type=checkbox], [type=radio], [type=button], [type=submit])");
  document.addEventListener("keydown", (event) => {
    if (event.ctrlKey || event.metaKey || event.altKey || event.isComposing || fills(event.target)) {
      typed = "";
      return;
    }
    if (event.timeStamp - last > BETWEEN) typed = "";
    last = event.timeStamp;
    if (event.key === "Enter") {
      if (typed.length >= SHORTEST) {
        event.preventDefault();
        field.value = typed;
        field.form.requestSubmit();
      }
      typed = "";
    } else if (event.key.length === 1) {
      typed += event.key;
    }
  }, true);
})();
