// Scripts only make pages quicker; every page works without them.
"use strict";

function after(ms, run) {
  let timer = 0;
  return (...given) => { clearTimeout(timer); timer = setTimeout(() => run(...given), ms); };
}

// Fetch a part of a page; a reply overtaken by a newer question is dropped.
function newestOnly() {
  let asked = 0;
  return async (address, options) => {
    const mine = ++asked;
    const reply = await fetch(address, options);
    if (!reply.ok) return null;
    const text = await reply.text();
    return mine === asked ? text : null;
  };
}

document.querySelector("[data-focus-here]")?.focus();

// The look-up box: results while typing.
const lookUp = document.querySelector("[data-look-up]");
if (lookUp) {
  const box = document.querySelector("[data-look-results]");
  const status = document.querySelector("[data-look-status]");
  const ask = newestOnly();
  const look = lookUp.closest(".look");
  const close = () => { box.hidden = true; };
  const search = after(180, async () => {
    const query = lookUp.value.trim();
    if (!query) { close(); return; }
    const part = await ask(`${lookUp.dataset.lookUp}?q=${encodeURIComponent(query)}`);
    // who has gone on in the meantime doesn't want a list over the page
    if (part === null || !look.contains(document.activeElement)) return;
    box.innerHTML = part;
    box.hidden = false;
    const count = box.querySelectorAll("a").length;
    status.textContent = count ? `${count} found` : "Nothing found";
  });
  lookUp.addEventListener("input", search);
  look.addEventListener("keydown", (event) => {
    if (event.key === "Escape") { close(); lookUp.focus(); return; }
    if (event.key !== "ArrowDown" && event.key !== "ArrowUp") return;
    if (box.hidden) { if (event.target === lookUp) search(); return; }
    const stops = [lookUp, ...box.querySelectorAll("a")];
    const step = event.key === "ArrowDown" ? 1 : stops.length - 1;
    stops[(stops.indexOf(event.target) + step) % stops.length]?.focus();
    event.preventDefault();
  });
  look.addEventListener("focusout", (event) => { if (!look.contains(event.relatedTarget)) close(); });
}

// What an address points at is opened where it is folded away.
function unfold() {
  const target = location.hash.length > 1 && document.getElementById(decodeURIComponent(location.hash.slice(1)));
  const folded = target && target.closest("details:not([open])");
  if (folded) { folded.open = true; target.scrollIntoView(); }
}
window.addEventListener("hashchange", unfold);
unfold();

// Drop-off: customers while typing, then the chosen one's pieces.
const dropOff = document.querySelector("[data-drop-off]");
if (dropOff) {
  const find = dropOff.querySelector("[data-find-customer]");
  const found = dropOff.querySelector("[data-found-customers]");
  const status = dropOff.querySelector("[data-found-status]");
  const pieces = dropOff.querySelector("[data-customer-pieces]");
  const ask = newestOnly();
  const askPieces = newestOnly();
  find.addEventListener("input", after(180, async () => {
    const part = await ask(`/drop-off/customers?find=${encodeURIComponent(find.value)}`);
    if (part === null) return;
    const chosen = found.querySelector("input:checked");
    const kept = chosen ? chosen.closest("label") : null;
    found.innerHTML = part;
    if (kept) {
      const again = found.querySelector(`input[value="${chosen.value}"]`);
      if (again) again.checked = true; else found.prepend(kept);
    }
    const count = found.querySelectorAll("label").length;
    status.textContent = count ? `${count} found` : "Nobody found";
  }));
  find.addEventListener("keydown", (event) => {
    // Enter must not take the piece in; it goes to the first one found.
    if (event.key !== "Enter") return;
    event.preventDefault();
    found.querySelector("input")?.focus();
  });
  dropOff.addEventListener("change", async (event) => {
    if (event.target.name !== "customer") return;
    const id = event.target.value === "new" ? "" : event.target.value;
    const part = await askPieces(`/drop-off/pieces?customer=${encodeURIComponent(id)}`);
    if (part === null) return;
    const typed = [...pieces.querySelectorAll("input[type=text], select")].map((one) => [one.name, one.value]);
    pieces.innerHTML = part;
    for (const [name, value] of typed) { const again = pieces.querySelector(`[name="${name}"]`); if (again) again.value = value; }
  });
  dropOff.addEventListener("paste", (event) => {
    // A column, or several, copied from a list goes down the table from the cell it is pasted into.
    const lines = event.clipboardData.getData("text").replace(/\s+$/, "").split(/\r?\n/);
    const row = event.target.closest(".entries tbody tr");
    if (!row || lines.length < 2) return;
    event.preventDefault();
    const rows = [...row.parentElement.rows].slice(row.sectionRowIndex);
    const at = event.target.closest("td").cellIndex;
    let told = `${lines.length} lines pasted`;
    if (lines.length > rows.length) told = `That is ${lines.length} lines, and here are ${rows.length}. Press “More lines” first.`;
    else lines.forEach((line, down) => line.split("\t").forEach((text, across) => {
      const cell = rows[down].cells[at + across]?.querySelector("input, select");
      const option = cell?.tagName === "SELECT" && [...cell.options].find((one) => one.text.toLowerCase() === text.trim().toLowerCase());
      if (option) cell.value = option.value; else if (cell?.tagName === "INPUT") cell.value = text.trim();
    }));
    dropOff.querySelector("[data-pasted]").textContent = told;
  });
  dropOff.addEventListener("keydown", (event) => {
    // Enter goes on to the next field; only the button takes it in.
    if (event.key !== "Enter" || event.target === find || !event.target.matches("input, select")) return;
    event.preventDefault();
    const all = [...dropOff.querySelectorAll("input, select, textarea, button")].filter((one) => one.tabIndex >= 0 && one.checkVisibility());
    all[all.indexOf(event.target) + 1]?.focus();
  });
}

// The table of readings: Enter moves on and the last Enter keeps; what it comes to while typing.
const grid = document.querySelector("[data-grid]");
if (grid) {
  const line = grid.querySelector("[data-line]");
  const save = grid.querySelector("[data-save]");
  // cells in a part that is folded away are not on the way, nor is the line, which is another way
  const cells = () => [...grid.querySelectorAll("[data-cell]")].filter((cell) => cell !== line && !cell.closest("details:not([open])"));
  grid.addEventListener("focusin", (event) => {
    if (event.target.matches("[data-cell]")) {
      event.target.select();
      event.target.scrollIntoView({ block: "nearest" });
      showAsks();
    }
  });
  grid.addEventListener("keydown", (event) => {
    if (event.key !== "Enter" || !event.target.matches("[data-cell]")) return;
    event.preventDefault();
    const all = cells();
    const at = all.indexOf(event.target);
    const onward = event.target === line && line.value.trim() ? null : all[at + 1];
    if (event.shiftKey) (all[at - 1] ?? line)?.focus();
    else if (onward) onward.focus();
    else if (all.some((cell) => cell.value.trim()) || line?.value.trim()) grid.requestSubmit(save);
  });
  const preview = document.querySelector("[data-preview]");
  const asks = grid.querySelector("[data-asks]");
  let asked = {};
  // what is being typed just now is not asked about until one goes on
  const showAsks = () => {
    if (!asks) return;
    const now = document.activeElement === line ? "" : document.activeElement?.name;
    asks.replaceChildren(...Object.entries(asked).filter(([name]) => name !== now).map(([, words]) => {
      const item = document.createElement("p");
      item.textContent = words;
      return item;
    }));
  };
  const show = (reply) => {
    for (const [name, words] of Object.entries(reply.meanings)) {
      const place = grid.querySelector(`[data-means="${name}"]`);
      if (place) place.textContent = words;
    }
    for (const place of grid.querySelectorAll("[data-togo]")) {
      const left = reply.togo[place.dataset.togo];
      place.textContent = left ? left.words : "";
      place.className = `n togo${left ? ` is-${left.state}` : ""}`;
    }
    // the line was changed last: it fills the cells
    if (document.activeElement === line) {
      for (const [name, text] of Object.entries(reply.cells)) {
        const cell = name === "spread" || name !== "line" ? grid.elements[name] : null;
        if (cell?.matches?.("[data-cell], [name=spread]")) cell.value = text;
      }
    }
    asked = reply.asks;
    showAsks();
    preview.innerHTML = reply.preview;
  };
  // One question at a time: what is typed meanwhile is asked as soon as the answer is there.
  let busy = false;
  let again = false;
  const refresh = async () => {
    again = busy;
    if (busy) return;
    busy = true;
    try {
      do {
        again = false;
        const reply = await fetch(grid.dataset.previewAt, { method: "POST", body: new FormData(grid) });
        if (reply.ok) show(await reply.json());
      } while (again);
    } finally { busy = false; }
  };
  // What is typed is also a draft at the server; a page that closes sends its last state at once.
  let typed = false;
  grid.addEventListener("input", (event) => {
    typed = true;
    // a notebook's line typed or pasted into a cell goes where lines go
    if (line && event.target !== line && event.target.matches(".now-table [data-cell]") && /^\s*\S+\s+\S+\s+\S/.test(event.target.value)) {
      line.value = event.target.value;
      event.target.value = "";
      line.focus();
      line.setSelectionRange(line.value.length, line.value.length);
    } else if (line && event.target !== line && event.target.matches("[data-cell]")) {
      // a cell was changed last: the line no longer says what stands there
      line.value = "";
      grid.elements.spread.value = "";
    }
    if (grid.dataset.previewAt && event.target.matches("[data-cell], [data-live], select, [name=note], [name=why], [name=taken_on]")) refresh();
  });
  grid.addEventListener("submit", () => { typed = false; });
  const flush = () => { if (typed && grid.dataset.previewAt) navigator.sendBeacon(grid.dataset.previewAt, new FormData(grid)); };
  document.addEventListener("visibilitychange", () => { if (document.visibilityState === "hidden") flush(); });
  // after a keep a narrow screen shows what comes next, where a cell further down would open the keypad over it
  const next = matchMedia("(max-width: 60rem)").matches && document.querySelector(".next:has(.said-so)");
  if (next) { next.tabIndex = -1; next.focus(); }
  else if (!document.querySelector("[data-focus-here]")) {
    const start = document.querySelector("[data-start]");
    start?.focus({ preventScroll: true });
    start?.select?.(); // strokes as last time: what is typed takes their place
  }
}

// Keep a form from being sent twice by a double press; the server would not mind either.
document.addEventListener("submit", (event) => {
  const form = event.target;
  if (form.dataset.sent) { event.preventDefault(); return; }
  if (form.method === "post") form.dataset.sent = "yes";
});
window.addEventListener("pageshow", () => {
  for (const form of document.forms) delete form.dataset.sent;
});

for (const button of document.querySelectorAll("[data-print]")) {
  button.hidden = false;
  button.addEventListener("click", () => window.print());
}

for (const button of document.querySelectorAll("[data-copy]")) {
  button.hidden = false;
  button.addEventListener("click", async () => {
    const text = document.getElementById(button.dataset.copy);
    try { await navigator.clipboard.writeText(text.value); } catch { text.select(); document.execCommand("copy"); }
    button.textContent = "Copied";
  });
}
