// The sheet of readings, while it is typed: Enter goes to the next cell, and the change in percent is seen at once.
// For the eye only: exact fractions, reckoned as the lab's book does it; what is kept is what the book says.
(() => {
  const sheet = document.querySelector("[data-sheet]");
  if (!sheet) return;
  const cells = () => [...sheet.querySelectorAll("input[name^='pair_']")];

  sheet.addEventListener("keydown", (event) => {
    if (event.key !== "Enter" || event.isComposing || !event.target.matches("input[name^='pair_']")) return;
    event.preventDefault();
    const all = cells();
    const next = all[all.indexOf(event.target) + 1];
    if (next) {
      next.focus();
      next.select();
    } else {
      sheet.querySelector("button.button--next").focus();
    }
  });

  // Exact fractions: [numerator, denominator above zero].
  const times = ([a, b], [c, d]) => [a * c, b * d];
  const plus = ([a, b], [c, d]) => [a * d + c * b, b * d];
  const over = ([a, b], [c, d]) => [a * d, b * c];
  const minus = (x, [c, d]) => plus(x, [-c, d]);
  const sum = (values) => values.reduce(plus, [0n, 1n]);
  const mean = (values) => over(sum(values), [BigInt(values.length), 1n]);

  const decimal = (text) => {
    const [whole, part = ""] = text.split(".");
    return [BigInt(whole + part), 10n ** BigInt(part.length)];
  };
  const MILLIMETRES = { mm: [1n, 1n], cm: [10n, 1n], in: [254n, 10n] };

  const length = (text, unit) => {
    const typed = text.trim().replace(unit === "in" ? /\s*"$/ : /$^/, "");
    if (!typed || typed.length > 32) return null;
    let value = null;
    const fraction = unit === "in" && /^(?:(\d+)(?: +|-))?(\d+)\/(2|4|8|16|32|64)$/.exec(typed);
    if (fraction) {
      value = plus([BigInt(fraction[1] || 0), 1n], [BigInt(fraction[2]), BigInt(fraction[3])]);
    } else if (/^\d+([.,]\d+)?$/.test(typed) && !(unit === "mm" && /,\d{3}$/.test(typed))) {
      value = decimal(typed.replace(",", "."));
    }
    return value && value[0] > 0n ? times(value, MILLIMETRES[unit]) : null;
  };

  const rounded = (value, step, tie) => {
    let [n, d] = over(value, decimal(step));
    const below = n < 0n;
    if (below) n = -n;
    let many = n / d;
    const twice = (n % d) * 2n;
    if (twice > d || (twice === d && (tie === "away" || many % 2n === 1n))) many += 1n;
    const places = (step.split(".")[1] || "").length;
    const digits = (many * BigInt(step.replace(".", ""))).toString().padStart(places + 1, "0");
    const figure = places ? digits.slice(0, -places) + "." + digits.slice(-places) : digits;
    return (many === 0n ? "" : below ? "\u2212" : "+") + figure + " %";
  };

  const change = ([before, after]) => times([100n, 1n], over(minus(after, before), before));
  const ofPairs = (pairs, averaging) =>
    averaging === "ratio_of_means"
      ? change([sum(pairs.map((pair) => pair[0])), sum(pairs.map((pair) => pair[1]))])
      : mean(pairs.map(change));

  const tell = (name, value, text) => {
    for (const place of sheet.querySelectorAll(`[data-${name}]`)) {
      if (place.dataset[name] === value) place.textContent = text;
    }
  };

  const reckon = () => {
    const { averaging, step, tie } = sheet.dataset;
    const fine = Number(step) > 0.1 ? "0.1" : step;
    const unit = (sheet.querySelector("input[name='unit']:checked") || { value: "mm" }).value;
    const groups = new Map();
    for (const cell of sheet.querySelectorAll("[data-pair]")) {
      const { group, direction, before, after } = cell.dataset;
      if (!groups.has(group)) groups.set(group, { direction, pairs: [] });
      const input = cell.querySelector("input");
      const read = after ? decimal(after) : input ? length(input.value, unit) : null;
      const place = cell.querySelector("[data-change]");
      if (!place) continue;
      if (before && read) {
        const pair = [decimal(before), read];
        groups.get(group).pairs.push(pair);
        place.textContent = rounded(change(pair), fine, tie);
      } else {
        place.textContent = input && input.value.trim() && before ? "?" : "";
      }
    }
    const directions = new Map();
    for (const [group, { direction, pairs }] of groups) {
      if (!directions.has(direction)) directions.set(direction, []);
      if (pairs.length) directions.get(direction).push(pairs);
      tell("mean", group, pairs.length ? rounded(ofPairs(pairs, averaging), fine, tie) : "\u2013");
    }
    for (const [direction, specimens] of directions) {
      const pairs = specimens.flat();
      const overall = averaging === "ratio_of_means" ? ofPairs(pairs, averaging)
        : specimens.length ? mean(specimens.map((own) => ofPairs(own, averaging))) : null;
      tell("overall", direction, pairs.length ? rounded(overall, step, tie) : "\u2013");
      tell("count", direction, String(pairs.length));
    }
  };

  sheet.addEventListener("input", reckon);
  reckon();
  const first = sheet.querySelector("input[aria-invalid='true'][name^='pair_']") || cells().find((cell) => !cell.value);
  if (first && !document.querySelector(".summary")) first.focus({ preventScroll: true });
})();
