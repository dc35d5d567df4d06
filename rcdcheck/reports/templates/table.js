"use strict";
// Filters and sorts the table of devices, and opens folded parts for printing. The page is whole without it.
(() => {
  addEventListener("beforeprint", () => document.querySelectorAll("details.printed").forEach((part) => { part.open = true; }));
  const table = document.querySelector("table.devices");
  const tools = document.querySelector(".tools");
  if (!table || !tools) return;
  const bodies = Array.from(table.tBodies);
  const order = new Map(bodies.map((body, i) => [body, i]));
  const words = new Map(bodies.map((body) => [body, body.textContent.toLowerCase()]));
  const search = tools.querySelector("input"), [outcome, site] = tools.querySelectorAll("select");
  const said = tools.querySelector("output");
  tools.hidden = false;

  function filter() {
    const wanted = search.value.trim().toLowerCase();
    let shown = 0;
    for (const body of bodies) {
      const fits = (!wanted || words.get(body).includes(wanted)) && (!outcome.value || body.dataset.outcome === outcome.value)
        && (!site.value || body.dataset.site === site.value);
      body.hidden = !fits;
      shown += fits;
    }
    said.textContent = `${shown.toLocaleString("en")} of ${bodies.length.toLocaleString("en")} shown`;
  }
  [search, outcome, site].forEach((control) => control.addEventListener("input", filter));
  filter();

  const ranks = { fail: "0", unclear: "1", incomplete: "2", pass: "3" };
  const keys = {
    device: (body) => body.dataset.name, place: (body) => body.dataset.site + " " + body.dataset.where,
    outcome: (body) => ranks[body.dataset.outcome], tested: (body) => body.dataset.tested, next: (body) => body.dataset.due || "9",
  };
  const compare = new Intl.Collator("en", { numeric: true }).compare;
  const heads = Array.from(table.querySelectorAll("th[data-sort]"));
  function sort(head) {
    const down = head.getAttribute("aria-sort") === "ascending";
    heads.forEach((other) => other.removeAttribute("aria-sort"));
    head.setAttribute("aria-sort", down ? "descending" : "ascending");
    const key = keys[head.dataset.sort], way = down ? -1 : 1;
    bodies.sort((a, b) => way * compare(key(a), key(b)) || order.get(a) - order.get(b));
    table.append(...bodies);
  }
  for (const head of heads) {
    const button = document.createElement("button");
    button.type = "button";
    button.textContent = head.textContent;
    const paper = document.createElement("span"); // browsers leave buttons out of heads that they repeat on paper
    paper.className = "paper";
    paper.append(...head.childNodes);
    head.append(paper, button);
    button.addEventListener("click", () => sort(head));
  }
})();
