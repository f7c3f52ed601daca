// Sorting, searching and filtering of the table of cases. Without it everything is visible.
"use strict";
// A click on the mark of a case opens its sheet.
document.addEventListener("click", function (event) {
  const mark = event.target.closest && event.target.closest("[data-sheet]");
  if (mark) window.location.href = mark.dataset.sheet;
});
(function () {
  const table = document.getElementById("case-table");
  const form = document.getElementById("controls");
  if (!table || !form) return;
  const body = table.tBodies[0];
  const rows = Array.from(body.rows);
  const search = document.getElementById("search");
  const verdict = document.getElementById("verdict");
  const fractions = document.getElementById("fractions");
  const technology = document.getElementById("technology");
  const status = document.getElementById("shown");

  // So many rows are laid out at first: a thousand make sorting slow. Print has all of them.
  const FIRST = 150;
  const more = document.getElementById("more");
  let all = rows.length <= FIRST;

  function layOut() {
    let count = 0;
    for (const row of body.rows) {
      if (!row.hidden) count += 1;
      row.classList.toggle("later", !all && count > FIRST);
    }
    more.hidden = all || count <= FIRST;
    more.textContent = "Show all " + count + " rows";
  }

  function filter() {
    const words = search.value.toLowerCase().split(/\s+/).filter(Boolean);
    let count = 0;
    for (const row of rows) {
      const text = row.textContent.toLowerCase();
      const fits = words.every((w) => text.includes(w)) &&
        (!verdict.value || row.dataset.verdict === verdict.value) &&
        (!fractions.value || row.dataset.fractions === fractions.value) &&
        (!technology.value || row.dataset.technology === technology.value);
      row.hidden = !fits;
      if (fits) count += 1;
    }
    status.textContent = count + " of " + rows.length + " cases fit";
    layOut();
  }

  // A missing value stands last in either direction.
  function compare(column, sign) {
    return function (a, b) {
      const x = a.cells[column], y = b.cells[column];
      if (x.classList.contains("n")) {
        const p = x.dataset.value, q = y.dataset.value;
        if (p === undefined || q === undefined) return (p === undefined) - (q === undefined);
        return sign * (Number(p) - Number(q));
      }
      return sign * x.textContent.localeCompare(y.textContent, "en", { numeric: true });
    };
  }

  const heads = Array.from(table.tHead.rows[0].cells);
  heads.forEach(function (head, column) {
    const button = document.createElement("button");
    button.type = "button";
    button.textContent = head.textContent;
    head.textContent = "";
    head.appendChild(button);
    head.setAttribute("aria-sort", column === 0 ? "ascending" : "none");
    button.addEventListener("click", function () {
      const down = head.getAttribute("aria-sort") === "ascending";
      heads.forEach((h) => h.setAttribute("aria-sort", "none"));
      head.setAttribute("aria-sort", down ? "descending" : "ascending");
      rows.sort(compare(column, down ? -1 : 1));
      body.append(...rows);
      layOut();
    });
  });
  for (const control of [search, verdict, fractions, technology]) control.addEventListener("input", filter);
  more.addEventListener("click", function () {
    all = true;
    layOut();
  });
  document.getElementById("clear").addEventListener("click", function () {
    form.reset();
    filter();
    search.focus();
  });
  form.addEventListener("submit", (event) => event.preventDefault());
  form.hidden = false;
  filter();
})();
