// Two numbers and Enter: Enter in the first goes on to the second, Enter in the second logs the reading.
(() => {
  const form = document.querySelector("[data-two-numbers]");
  if (!form) return;
  form.addEventListener("keydown", (event) => {
    const next = form.elements.humidity;
    if (event.key !== "Enter" || event.isComposing || event.target.name !== "temperature" || next.value.trim()) return;
    event.preventDefault();
    next.focus();
  });
})();
