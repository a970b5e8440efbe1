"use strict";
(() => {
  const root = document.documentElement;
  root.classList.add("script");
  const all = (selector, within = document) => [...within.querySelectorAll(selector)];
  const one = (selector, within = document) => within.querySelector(selector);

  // Cards open when something leads to them. Printing opens what is shut, but for the cards that paper leaves out.
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
  addEventListener("beforeprint", () => { shut = all("details:not([open])").filter((box) => !box.matches(".aside > details")); for (const box of shut) box.open = true; });
  addEventListener("afterprint", () => { for (const box of shut) box.open = false; shut = []; });

  // The map fills the screen, and is zoomed by its buttons, by + and -, and moved by dragging.
  const map = one("svg.farm-map"), frame = one(".map figure");
  if (map && frame) {
    const [left, top, wide, tall] = map.getAttribute("viewBox").split(" ").map(Number);
    let [x, y, zoom] = [left, top, 1];
    const draw = () => {
      x = Math.min(Math.max(x, left), left + wide - wide / zoom);
      y = Math.min(Math.max(y, top), top + tall - tall / zoom);
      map.setAttribute("viewBox", `${x} ${y} ${wide / zoom} ${tall / zoom}`);
      map.classList.toggle("zoomed", zoom > 1);
    };
    const zoomTo = (next) => {
      const centre = [x + wide / zoom / 2, y + tall / zoom / 2];
      zoom = Math.min(Math.max(next, 1), 12);
      [x, y] = [centre[0] - wide / zoom / 2, centre[1] - tall / zoom / 2];
      draw();
    };
    const full = () => {
      if (document.fullscreenElement) document.exitFullscreen();
      else if (frame.requestFullscreen) frame.requestFullscreen();
    };
    const deeds = { full, in: () => zoomTo(zoom * 1.6), out: () => zoomTo(zoom / 1.6) };
    for (const button of all("[data-map]")) button.addEventListener("click", () => deeds[button.dataset.map]());
    frame.addEventListener("keydown", (event) => { if (event.key === "+") deeds.in(); if (event.key === "-") deeds.out(); });
    let from = null, moved = false;
    map.addEventListener("pointerdown", (event) => { from = [event.clientX, event.clientY, x, y]; moved = false; });
    map.addEventListener("pointermove", (event) => {
      if (!from || zoom === 1) return;
      const units = wide / zoom / map.clientWidth;
      if (Math.hypot(event.clientX - from[0], event.clientY - from[1]) > 4) moved = true;
      [x, y] = [from[2] - (event.clientX - from[0]) * units, from[3] - (event.clientY - from[1]) * units];
      draw();
    });
    addEventListener("pointerup", () => { from = null; });
    map.addEventListener("click", (event) => { if (moved) event.preventDefault(); }, true);
  }

  // The key of the map shows and hides groups.
  for (const box of all("input[data-group]")) {
    box.addEventListener("change", () => {
      for (const area of all(".outcome")) if (area.dataset.group === box.dataset.group) area.classList.toggle("off", !box.checked);
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

  // Ranking again: the arithmetic of the screening, a mark that was not assessed counts as the data say.
  const STEP = 1e-6; // scores closer than this are equal
  const rounded = (value) => { // half to even, as NumPy rounds
    const low = Math.floor(value), rest = value - low;
    return rest < 0.5 ? low : rest > 0.5 ? low + 1 : low % 2 === 0 ? low : low + 1;
  };
  const share = ({ marks, assessed }, weights) => {
    const used = marks.map((mark, k) => [mark, weights[k]]).filter(([, weight]) => weight > 0);
    if (!assessed.some((known, k) => known && weights[k] > 0)) return null;
    if (combine === "lowest") return Math.min(...used.map(([mark]) => mark));
    let total = 0, weight = 0;
    for (const [mark, each] of used) { total += each * (combine === "geometric" ? Math.log(mark) : mark); weight += each; }
    return combine === "geometric" ? Math.exp(total / weight) : total / weight;
  };
  // Marks are means over the shifts of the house. Their weighted mean is the score itself; other ways to combine them come near
  // it, and what is left over is added again.
  const ranked = (weights) => {
    const scored = candidates.map((candidate) => {
      const part = share(candidate, weights);
      const points = part === null ? null : Math.max(rounded((100 * part + candidate.rest) / STEP) * STEP, 0);
      return { rank: candidate.rank, label: candidate.label, score: points };
    });
    return scored.sort((a, b) => (a.score === null) - (b.score === null) || (b.score ?? 0) - (a.score ?? 0) || a.rank - b.rank);
  };

  const sliders = all(".slider input");
  if (!sliders.length) return;
  const WEIGHTS = "#weights:";
  const given = criteria.map((criterion) => criterion.weight);
  let weights = [...given];
  const text = (value) => String(Number(value.toFixed(4)));
  // A tie such as 81.25 goes to the even digit, as in the words of the page and in the file; toFixed would make it 81.3.
  const points = (value) => (value % 1 === 0.25 ? value - 0.05 : value).toFixed(1);
  const show = () => {
    const order = ranked(weights);
    const changed = weights.some((weight, k) => weight !== given[k]);
    const [nowAt, scoreAt] = [columnOf("now"), columnOf("score")];
    order.forEach((item, place) => {
      const row = rows.get(item.rank);
      const now = row.cells[nowAt], score = row.cells[scoreAt];
      now.textContent = item.score === null ? "–" : String(place + 1);
      now.dataset.value = item.score === null ? "" : String(place + 1);
      score.textContent = item.score === null ? "–" : points(item.score);
      score.dataset.value = item.score === null ? "" : String(item.score);
      row.classList.toggle("up", item.score !== null && place + 1 < item.rank);
      row.classList.toggle("down", item.score !== null && place + 1 > item.rank);
    });
    sortBy(changed ? nowAt : 0, false);
    const best = order[0];
    follow_up(order, changed);
    for (const mark of all(".mark")) mark.classList.toggle("best-now", changed && Number(mark.dataset.rank) === best.rank);
    document.getElementById("now-best").textContent = best.score === null ? "Nothing has a weight: there is no ranking."
      : changed ? `With these weights option ${best.label} comes first, with ${points(best.score)} points.` : "These are the weights of the screening.";
    const words = criteria.flatMap((criterion, k) => (weights[k] === given[k] ? [] : [`--weight ${criterion.id}=${text(weights[k])}`]));
    document.getElementById("rescore-command").textContent = ["tunnelsite rescore run.npz", ...words, "--out other.gpkg"].join(" ");
  };
  // With other weights the answer, the cards and the boxes on the map follow, and the weights stand in the address.
  const lead = one(".short .lead"), leadNow = document.getElementById("lead-now");
  const pale = document.getElementById("colours-now");
  const follow_up = (order, changed) => {
    const best = order[0];
    if (lead) lead.hidden = changed;
    for (const item of all("#verdict, .compared, .short > .if-given")) item.classList.toggle("of-other-weights", changed);
    leadNow.hidden = !changed;
    leadNow.textContent = !changed ? "" : best.score === null ? "With these weights nothing is ranked."
      : `With your weights option ${best.label} has the highest score, ${points(best.score)} of 100 points. The verdict and the colours of the map below are for the weights of the screening.`;
    if (pale) pale.hidden = !changed;
    const at = new Map(order.map((item, place) => [item.rank, { ...item, place: place + 1 }]));
    for (const card of cards) {
      const now = at.get(Number(card.dataset.rank)), says = one(".score-now", card);
      if (now && says) says.textContent = !changed ? "" : now.score === null ? "; not ranked with your weights" : `; with your weights ${points(now.score)} points, place ${now.place}`;
    }
    if (changed) for (const item of order) {
      const card = document.getElementById(`candidate-${item.rank}`);
      if (card) card.parentNode.append(card);
    } else for (const card of [...cards]) card.parentNode.append(card);
    for (const mark of all(".mark")) {
      const now = at.get(Number(mark.dataset.rank));
      mark.classList.toggle("top-now", changed && now !== undefined && now.place <= 3);
    }
    const words = criteria.flatMap((criterion, k) => (weights[k] === given[k] ? [] : [`${criterion.id}=${text(weights[k])}`]));
    if (words.length || location.hash.startsWith(WEIGHTS)) history.replaceState(null, "", words.length ? `${WEIGHTS}${words.join("&")}` : location.pathname + location.search);
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
  // Weights that stand in the address, as sent by someone who moved the sliders.
  if (location.hash.startsWith(WEIGHTS)) {
    for (const pair of location.hash.slice(WEIGHTS.length).split("&")) {
      const [id, value] = pair.split("="), k = criteria.findIndex((criterion) => criterion.id === id), number = Number(value);
      const slider = k < 0 ? null : sliders.find((one) => Number(one.dataset.place) === k);
      if (!slider || !value || !Number.isFinite(number) || number < 0 || number > Number(slider.max)) continue;
      weights[k] = number;
      slider.value = String(number);
      told(slider);
    }
  }
  show();
})();
