"use strict";
(function () {
  const table = document.getElementById("class");
  const told = document.getElementById("told");
  const sieve = document.getElementById("sieve");
  const which = document.getElementById("which");
  const flags = document.getElementById("flags");
  const bodies = Array.from(table.tBodies);
  const heads = Array.from(table.tHead.rows[0].cells).filter((cell) => cell.querySelector(".sort"));
  const texts = bodies.map(rowText);
  let order = "";

  function plain(text) { return text.normalize("NFKC").toLowerCase(); }

  function rowText(body) { return plain(body.rows[0].textContent); }

  function tell() {
    const shown = bodies.filter((body) => !body.hidden).length;
    const groups = bodies.length === 1 ? " group shown." : " groups shown.";
    told.textContent = shown + " of " + bodies.length + groups + order;
  }

  function sift() {
    const wanted = plain(sieve.value.trim());
    bodies.forEach(function (body, index) {
      const keep = (!wanted || texts[index].includes(wanted)) &&
        (!which || !which.value || body.dataset.reaction === which.value) &&
        (!flags.checked || body.dataset.flags !== "0");
      body.hidden = !keep;
    });
    const hidden = new Set(bodies.filter((body) => body.hidden).map((body) => body.dataset.group));
    document.querySelectorAll("svg g[data-group]").forEach(function (mark) {
      mark.classList.toggle("dim", hidden.has(mark.dataset.group));
    });
    tell();
  }

  function key(body, column) {
    const text = body.rows[0].cells[column].dataset.k;
    const number = text === "" ? NaN : Number(text);
    return Number.isNaN(number) ? text : number;
  }

  function compare(a, b) {
    if (a === "" || b === "") { return (a === "") - (b === ""); }
    if (typeof a === "number" && typeof b === "number") { return a - b; }
    return String(a).localeCompare(String(b), undefined, { numeric: true });
  }

  function sort(column) {
    const head = heads[column];
    const down = head.getAttribute("aria-sort") === "ascending";
    const keyed = bodies.map((body) => ({ body: body, key: key(body, column) }));
    keyed.sort(function (a, b) {
      const empty = a.key === "" || b.key === "";
      return compare(a.key, b.key) * (down && !empty ? -1 : 1);
    });
    keyed.forEach((item) => table.append(item.body));
    heads.forEach((other) => other.setAttribute("aria-sort", "none"));
    head.setAttribute("aria-sort", down ? "descending" : "ascending");
    order = " Sorted by " + head.innerText.trim() +
      (down ? ", largest first." : ", smallest first.");
    tell();
  }

  function open(button, wanted) {
    const more = document.getElementById(button.getAttribute("aria-controls"));
    more.hidden = !wanted;
    button.setAttribute("aria-expanded", String(wanted));
  }

  heads.forEach(function (head, column) {
    head.querySelector(".sort").addEventListener("click", () => sort(column));
  });
  table.addEventListener("click", function (event) {
    const button = event.target.closest("button.open");
    if (button) { open(button, button.getAttribute("aria-expanded") !== "true"); }
  });
  sieve.addEventListener("input", sift);
  flags.addEventListener("change", sift);
  if (which) { which.addEventListener("change", sift); }

  const all = document.getElementById("all");
  all.addEventListener("click", function () {
    const wanted = all.getAttribute("aria-pressed") !== "true";
    all.setAttribute("aria-pressed", String(wanted));
    table.querySelectorAll("button.open").forEach((button) => open(button, wanted));
  });

  const masks = document.getElementById("masks");
  if (masks) {
    const marks = Array.from(document.querySelectorAll(".who"));
    const names = marks.map((mark) => mark.textContent);
    masks.addEventListener("click", function () {
      const hide = masks.getAttribute("aria-pressed") !== "true";
      masks.setAttribute("aria-pressed", String(hide));
      marks.forEach(function (mark, index) {
        mark.textContent = hide ? mark.dataset.number : names[index];
      });
      bodies.forEach(function (body, index) {
        texts[index] = rowText(body);
      });
      sift();
    });
  }
})();
