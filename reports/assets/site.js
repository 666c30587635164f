"use strict";
(() => {
  const root = document.documentElement;

  // Charts: colours written @token become the style sheet's value, so light, dark and print share one palette.
  const themed = (value, style) => {
    if (typeof value === "string") return value.startsWith("@") ? style.getPropertyValue("--" + value.slice(1)).trim() : value;
    if (Array.isArray(value)) return value.map((item) => themed(item, style));
    if (value && typeof value === "object") return Object.fromEntries(Object.entries(value).map(([key, item]) => [key, key === "text" && Array.isArray(item) ? item : themed(item, style)]));
    return value;
  };
  const base = JSON.parse(document.getElementById("chart-base")?.textContent ?? "{}");
  const charts = [...document.querySelectorAll("script.chart-data")].map((block) => {
    const { data, layout } = JSON.parse(block.textContent);
    for (const axis of ["xaxis", "yaxis"]) if (layout[axis]) layout[axis] = { ...base.axis, ...layout[axis] };
    return { box: document.getElementById(block.dataset.for), data, layout: { ...base.layout, ...layout } };
  });
  const draw = (onPaper = false) => {
    if (!window.Plotly) return;
    const style = getComputedStyle(root);
    for (const { box, data, layout: plain } of charts) {
      const layout = themed(plain, style);
      layout.width = onPaper ? (box.closest(".pair") ? 330 : 680) : box.clientWidth;
      if (onPaper) Object.assign(layout, { height: Math.round(layout.height * 0.7), font: { ...layout.font, size: 10 } });
      window.Plotly.react(box, themed(data, style), layout, base.config);
    }
  };
  if (charts.length) {
    for (const { box } of charts) box.style.display = "block";
    draw();
    const home = document.querySelector("[data-unit-pages]");
    for (const { box } of charts) {
      if (home && box.on) box.on("plotly_click", (event) => {
        const file = event.points[0] && event.points[0].customdata;
        if (file) location.href = home.dataset.unitPages + file;
      });
    }
    let width = root.clientWidth;
    addEventListener("resize", () => { if (root.clientWidth !== width) { width = root.clientWidth; draw(); } });
    matchMedia("(prefers-color-scheme: dark)").addEventListener("change", () => draw());
    addEventListener("beforeprint", () => { root.classList.add("printing"); draw(true); });
    addEventListener("afterprint", () => { root.classList.remove("printing"); draw(); });
  }

  // On a phone the quieter line of the menu folds away behind a button; without this script it stays open.
  const records = document.querySelector("nav .records");
  if (records) {
    const more = document.createElement("button");
    more.type = "button";
    more.className = "more";
    more.textContent = "More pages";
    const fold = (folded) => { records.classList.toggle("folded", folded); more.setAttribute("aria-expanded", String(!folded)); };
    more.addEventListener("click", () => fold(!records.classList.contains("folded")));
    fold(!records.querySelector("[aria-current]"));
    records.before(more);
  }

  // Age of the newest visit, counted on the reader's own calendar: the page itself holds no clock.
  for (const spot of document.querySelectorAll("[data-newest]")) {
    const [year, month, day] = spot.dataset.newest.split("-").map(Number);
    const now = new Date();
    const days = Math.round((Date.UTC(now.getFullYear(), now.getMonth(), now.getDate()) - Date.UTC(year, month - 1, day)) / 864e5);
    if (days >= 0) spot.textContent = `, ${days} ${days === 1 ? "day" : "days"} old${days > 31 ? ": bring newer exports" : " today"}`;
  }

  // A scrolling box takes the keyboard only where there is something to scroll.
  const fit = () => { for (const box of document.querySelectorAll(".scroll")) box.tabIndex = box.scrollWidth > box.clientWidth ? 0 : -1; };
  fit();
  addEventListener("resize", fit);

  // A long list shows its first rows; paper, and a reader without this script, get all of them.
  for (const table of document.querySelectorAll("table[data-first]")) {
    const rest = [...table.rows].slice(Number(table.dataset.first) + 1);
    if (rest.length < 5) continue;
    const more = document.createElement("button");
    more.type = "button";
    more.textContent = `Show the other ${rest.length}`;
    const show = () => { for (const row of rest) row.classList.remove("later"); more.remove(); };
    more.addEventListener("click", () => { show(); rest[0].cells[0].tabIndex = -1; rest[0].cells[0].focus(); });
    for (const row of rest) row.classList.add("later");
    table.after(more);
  }

  // "/" leads to the box that finds, on every page that has one.
  addEventListener("keydown", (event) => {
    const find = document.getElementById("find");
    if (find && event.key === "/" && !/^(input|select|textarea)$/i.test(document.activeElement.tagName) && !event.ctrlKey && !event.metaKey && !event.altKey) {
      event.preventDefault();
      find.focus();
    }
  });

  // What was typed, as words that must all be in a text.
  const fitting = (box) => {
    const wanted = box.value.trim().toLocaleLowerCase().split(/\s+/).filter(Boolean);
    return { any: wanted.length > 0, fits: (text) => wanted.every((word) => text.includes(word)) };
  };

  // All units of a large shop, too many for one table: what fits is listed while one types.
  const lookup = document.querySelector("search[data-index]"); // a chart marks its own notes with data-index
  if (lookup) {
    const units = JSON.parse(document.getElementById(lookup.dataset.index).textContent).map(([text, href]) => ({ text, href, key: text.toLocaleLowerCase() }));
    const list = document.getElementById("found");
    const status = document.getElementById("found-status");
    const most = 30;
    lookup.addEventListener("input", (event) => {
      const typed = fitting(event.target);
      const fits = typed.any ? units.filter(({ key }) => typed.fits(key)) : [];
      list.replaceChildren(...fits.slice(0, most).map(({ text, href }) => {
        const link = document.createElement("a");
        link.href = href;
        link.textContent = text;
        const item = document.createElement("li");
        item.append(link);
        return item;
      }));
      status.textContent = !typed.any ? "" : !fits.length ? `None of ${units.length} fits.` : fits.length > most ? `${fits.length} fit, the first ${most} are shown: type more.` : `${fits.length} of ${units.length}.`;
    });
    lookup.hidden = false;
  }

  // The watch list: one box to find, boxes to narrow, headers to sort. Without this script it is a plain table.
  const search = document.querySelector("[data-filters]");
  if (!search) return;
  const table = document.getElementById(search.dataset.filters);
  const body = table.tBodies[0];
  const status = document.getElementById(search.dataset.filters + "-status");
  const rows = [...body.rows].map((row) => ({ row, text: row.textContent.toLocaleLowerCase() }));
  const find = search.querySelector("input");
  let most = Number(search.dataset.first || 200); // laying out thousands of rows at every key would be felt; paper gets them all
  const more = document.createElement("button");
  more.type = "button";
  more.textContent = "Show the rest";
  more.addEventListener("click", () => { most = Infinity; narrow(); });
  table.after(more);
  const boxes = [...search.querySelectorAll("select[data-key]")];
  const narrow = () => {
    const typed = fitting(find);
    const chosen = boxes.filter((box) => box.value).map((box) => [box.dataset.key, box.value]);
    let fits = 0;
    for (const { row, text } of rows) {
      const stays = typed.fits(text) && chosen.every(([key, value]) => row.dataset[key] === value);
      if (row.hidden === stays) row.hidden = !stays;
      fits += stays;
      row.classList.toggle("later", stays && fits > most);
    }
    const all = fits === rows.length ? `All ${fits}` : `${fits} of ${rows.length}`;
    status.textContent = !fits ? `None of ${rows.length} fits: choose "Show all".` : fits > most ? `${all} fit, the first ${most} are shown.` : `${all} shown.`;
    more.hidden = fits <= most;
  };
  const headers = [...table.tHead.rows[0].cells];
  const sort = (header, down) => {
    const index = headers.indexOf(header);
    const asNumber = header.dataset.sort === "number";
    const value = ({ row }) => row.cells[index].dataset.v ?? row.cells[index].textContent.trim();
    const compare = asNumber ? (a, b) => Number(value(a)) - Number(value(b)) : (a, b) => value(a).localeCompare(value(b), "en");
    rows.sort((a, b) => (down ? -1 : 1) * compare(a, b));
    body.append(...rows.map(({ row }) => row));
    narrow();
    for (const other of headers) other.removeAttribute("aria-sort");
    header.setAttribute("aria-sort", down ? "descending" : "ascending");
  };
  for (const header of headers.filter((cell) => cell.dataset.sort)) {
    const button = document.createElement("button");
    button.type = "button";
    button.textContent = header.textContent;
    header.replaceChildren(button);
    button.addEventListener("click", () => sort(header, header.getAttribute("aria-sort") === "ascending"));
  }
  const listed = [...rows];
  const order = document.createElement("select");
  order.id = "order-by";
  order.append(new Option("as listed", ""));
  const unsort = () => {
    rows.splice(0, rows.length, ...listed);
    body.append(...rows.map(({ row }) => row));
    for (const header of headers) header.removeAttribute("aria-sort");
    if (headers[0].dataset.sort === "number") headers[0].setAttribute("aria-sort", "ascending"); // numbered as listed
    order.value = "";
    narrow();
  };
  for (const header of headers.filter((cell) => cell.dataset.sort)) {
    const index = headers.indexOf(header);
    order.append(new Option(header.textContent + " ↑", index + " up"), new Option(header.textContent + " ↓", index + " down"));
  }
  order.addEventListener("change", () => {
    const [index, way] = order.value.split(" ");
    if (index) sort(headers[index], way === "down");
    else unsort();
  });
  const field = search.querySelector("[data-order]");
  field.append(order);
  field.hidden = false;
  search.hidden = false;
  search.querySelector("[data-all]").addEventListener("click", () => {
    for (const box of [find, ...boxes]) box.value = "";
    unsort();
  });
  search.addEventListener("input", narrow);
  narrow();
})();
