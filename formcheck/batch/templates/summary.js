"use strict";
(() => {
  const table = document.getElementById("sets");
  if (!table) return;
  const body = table.tBodies[0];
  const rows = [...body.rows];
  const ask = Object.fromEntries(
    ["search", "person", "fault", "due"].map((id) => [id, document.getElementById(id)]),
  );
  const shown = document.getElementById("shown");

  const filter = () => {
    const words = ask.search.value.toLowerCase().split(/\s+/).filter(Boolean);
    const person = ask.person?.value ?? "";
    const fault = ask.fault?.value ?? "";
    const due = ask.due?.checked ?? false;
    let count = 0;
    for (const row of rows) {
      const fits =
        (!person || row.dataset.person === person) &&
        (!fault || row.dataset.faults.split(" ").includes(fault)) &&
        (!due || row.classList.contains("word")) &&
        words.every((word) => row.dataset.search.includes(word));
      row.hidden = !fits;
      count += fits;
    }
    shown.textContent = count === rows.length ? `${count} set${count === 1 ? "" : "s"}` : `${count} of ${rows.length} sets`;
  };
  document.getElementById("ask").addEventListener("input", filter);
  document.getElementById("ask").addEventListener("submit", (event) => event.preventDefault());

  const heads = [...table.tHead.rows[0].cells];
  for (const button of table.querySelectorAll("th button")) {
    button.addEventListener("click", () => {
      const head = button.closest("th");
      const column = heads.indexOf(head);
      const down = head.getAttribute("aria-sort") === "ascending";
      for (const other of heads) other.removeAttribute("aria-sort");
      head.setAttribute("aria-sort", down ? "descending" : "ascending");
      const text = head.classList.contains("text") && column !== 5;
      const key = (row) => row.cells[column].dataset.sort;
      rows.sort((one, other) => {
        const [a, b] = [key(one), key(other)];
        if (a === "" || b === "") return (a === "") - (b === "");
        return (down ? -1 : 1) * (text ? a.localeCompare(b, undefined, { numeric: true }) : a - b);
      });
      body.append(...rows);
    });
  }
  filter(); // a browser may have kept what was asked before
})();
