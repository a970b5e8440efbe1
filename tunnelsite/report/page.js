"use strict";
(() => {
  const root = document.documentElement;
  root.classList.add("script");
  const all = (selector, within = document) => [...within.querySelectorAll(selector)];
  const one = (selector, within = document) => within.querySelector(selector);

  // Cards open when something leads to them, and all of them for printing.
  const cards = all("article.card");
  const openCard = (card) => { const box = one("details", card); if (box) box.open = true; };
  const marked = (rank) => {
    for (const item of all(".mark, #ranking-table tbody tr")) item.classList.toggle("chosen", item.dataset.rank === String(rank));
  };
  const follow = () => {
    const target = document.getElementById(decodeURIComponent(location.hash.slice(1)));
    if (!target) return;
    if (target.matches("article.card")) openCard(target);
    if (target.dataset.rank) marked(target.dataset.rank);
    target.scrollIntoView();
    const focus = one("summary", target);
    if (focus) focus.focus({ preventScroll: true });
  };
  addEventListener("hashchange", follow);
  if (location.hash) follow();
  for (const link of all('a[href^="#"]')) {
    link.addEventListener("click", () => { if (link.getAttribute("href") === location.hash) follow(); });
  }
  for (const card of cards) card.addEventListener("pointerenter", () => marked(card.dataset.rank));
  const openAll = document.getElementById("open-all");
  if (openAll) openAll.addEventListener("click", () => {
    const open = cards.some((card) => !one("details", card).open);
    for (const card of cards) one("details", card).open = open;
    openAll.textContent = open ? "Close all cards" : "Open all cards";
  });
  let shut = [];
  addEventListener("beforeprint", () => { shut = all("details:not([open])"); for (const box of shut) box.open = true; });
  addEventListener("afterprint", () => { for (const box of shut) box.open = false; shut = []; });

  // The key of the map shows and hides groups.
  for (const box of all("input[data-fate]")) {
    box.addEventListener("change", () => {
      for (const area of all(".fate")) if (area.dataset.fate === box.dataset.fate) area.classList.toggle("off", !box.checked);
    });
  }

  const table = document.getElementById("ranking-table");
  const data = document.getElementById("report-data");
  if (!table || !data) return;
  const { combine, criteria, candidates } = JSON.parse(data.textContent);
  const body = table.tBodies[0];
  const rows = new Map(all("tr", body).map((row) => [Number(row.dataset.rank), row]));
  const heads = all("thead th", table);
  const columnOf = (key) => heads.findIndex((head) => head.dataset.key === key);
  for (const row of rows.values()) {
    row.addEventListener("pointerenter", () => marked(row.dataset.rank));
    row.addEventListener("focusin", () => marked(row.dataset.rank));
  }

  // Sorting: what was not assessed stays last either way; equals keep the order of the screening.
  const sortBy = (k, falling) => {
    const number = heads[k].classList.contains("number");
    const value = (row) => { const text = row.cells[k].dataset.value; return text === "" ? null : number ? Number(text) : text; };
    const before = (a, b) => {
      const [x, y] = [value(a), value(b)];
      if (x === null || y === null) return (x === null) - (y === null) || a.dataset.rank - b.dataset.rank;
      const way = number ? x - y : x.localeCompare(y);
      return (falling ? -way : way) || a.dataset.rank - b.dataset.rank;
    };
    body.append(...[...rows.values()].sort(before));
    heads.forEach((head, place) => head.setAttribute("aria-sort", place !== k ? "none" : falling ? "descending" : "ascending"));
  };
  heads.forEach((head, k) => one("button", head).addEventListener("click", () => {
    const first = ["score", "sun"].includes(head.dataset.key); // more is better: begin with the most
    const was = head.getAttribute("aria-sort");
    sortBy(k, was === "none" ? first : was === "ascending");
  }));

  // Ranking again: the arithmetic of the screening, marks that are null were not assessed and take no part.
  const STEP = 1e-6; // scores closer than this are equal
  const rounded = (value) => { // half to even, as NumPy rounds
    const low = Math.floor(value), rest = value - low;
    return rest < 0.5 ? low : rest > 0.5 ? low + 1 : low % 2 === 0 ? low : low + 1;
  };
  const share = (marks, weights) => {
    const used = marks.map((mark, k) => [mark, weights[k]]).filter(([mark, weight]) => mark !== null && weight > 0);
    if (!used.length) return null;
    if (combine === "lowest") return Math.min(...used.map(([mark]) => mark));
    let total = 0, weight = 0;
    for (const [mark, each] of used) { total += each * (combine === "geometric" ? Math.log(mark) : mark); weight += each; }
    return combine === "geometric" ? Math.exp(total / weight) : total / weight;
  };
  // Marks are means over the shifts of the house. Their weighted mean is the score itself; other ways to combine them come near
  // it, and what is left over is added again.
  const ranked = (weights) => {
    const scored = candidates.map((candidate) => {
      const part = share(candidate.marks, weights);
      const points = part === null ? null : Math.max(rounded((100 * part + candidate.rest) / STEP) * STEP, 0);
      return { rank: candidate.rank, label: candidate.label, order: candidate.order, score: points };
    });
    return scored.sort((a, b) => (a.score === null) - (b.score === null) || (b.score ?? 0) - (a.score ?? 0) || a.order - b.order);
  };

  const sliders = all(".slider input");
  if (!sliders.length) return;
  const given = criteria.map((criterion) => criterion.weight);
  let weights = [...given];
  const text = (value) => String(Number(value.toFixed(4)));
  const show = () => {
    const order = ranked(weights);
    const changed = weights.some((weight, k) => weight !== given[k]);
    const [nowAt, scoreAt] = [columnOf("now"), columnOf("score")];
    order.forEach((item, place) => {
      const row = rows.get(item.rank);
      const now = row.cells[nowAt], score = row.cells[scoreAt];
      now.textContent = item.score === null ? "–" : String(place + 1);
      now.dataset.value = item.score === null ? "" : String(place + 1);
      score.textContent = item.score === null ? "–" : item.score.toFixed(1);
      score.dataset.value = item.score === null ? "" : String(item.score);
      row.classList.toggle("up", item.score !== null && place + 1 < item.rank);
      row.classList.toggle("down", item.score !== null && place + 1 > item.rank);
    });
    sortBy(changed ? nowAt : 0, false);
    const best = order[0];
    for (const mark of all(".mark")) mark.classList.toggle("best-now", changed && Number(mark.dataset.rank) === best.rank);
    document.getElementById("now-best").textContent = best.score === null ? "Nothing has a weight: there is no ranking."
      : changed ? `With these weights option ${best.label} comes first, with ${best.score.toFixed(1)} points.` : "These are the weights of the screening.";
    const words = criteria.flatMap((criterion, k) => (weights[k] === given[k] ? [] : [`--weight ${criterion.id}=${text(weights[k])}`]));
    document.getElementById("rescore-command").textContent = ["tunnelsite rescore run.npz", ...words, "--out other.gpkg"].join(" ");
  };
  const told = (slider) => { one(`output[for="${slider.id}"]`).textContent = text(weights[Number(slider.dataset.place)]); };
  for (const slider of sliders) {
    slider.addEventListener("input", () => {
      weights[Number(slider.dataset.place)] = slider.valueAsNumber;
      told(slider);
      show();
    });
  }
  document.getElementById("reset-weights").addEventListener("click", () => {
    weights = [...given];
    for (const slider of sliders) { slider.value = String(given[Number(slider.dataset.place)]); told(slider); }
    show();
  });
  show();
})();
