"use strict";
(() => {
  const MOST = 16; // times enlarged
  const STEP = 1.5;
  const NEAR = "900px"; // pictures are made ready when they come this near to the window

  // Pictures wait as text until they are near: see _island in page.py.
  const fill = (waiting) => {
    const parent = waiting.parentNode;
    const first = document.createElement("template");
    first.innerHTML = waiting.firstElementChild.textContent;
    const made = [...first.content.children];
    parent.replaceChild(first.content, waiting);
    made.forEach((element) => element.querySelectorAll(".viewer").forEach(equip));
  };
  const seen = new IntersectionObserver((entries) => {
    entries.filter((entry) => entry.isIntersecting).forEach((entry) => {
      seen.unobserve(entry.target);
      if (entry.target.isConnected) fill(entry.target);
    });
  }, { rootMargin: NEAR });
  const all = (selector, within = document) => [...within.querySelectorAll(selector)];

  // Pictures: zoom and move by changing the part of them that is shown; outlines on and off.
  let outlines = true;
  const views = new Map();

  const equip = (viewer) => {
    const frame = viewer.querySelector(".frame");
    const width = +frame.getAttribute("width");
    const height = +frame.getAttribute("height");
    const bar = viewer.querySelector(".scale-bar");
    const whole = { x: 0, y: 0, zoom: 1 };
    let at = whole;

    const show = (view) => {
      const zoom = Math.min(Math.max(view.zoom, 1), MOST);
      const x = Math.min(Math.max(view.x, 0), width - width / zoom);
      const y = Math.min(Math.max(view.y, 0), height - height / zoom);
      at = { x, y, zoom };
      frame.setAttribute("viewBox", `${x} ${y} ${width / zoom} ${height / zoom}`);
      frame.style.setProperty("--shrink", 1 / Math.sqrt(zoom));
      viewer.classList.toggle("zoomed", zoom > 1);
      if (bar) drawBar(bar, width, zoom);
    };
    const zoomBy = (factor, px = 0.5, py = 0.5) => {
      const zoom = Math.min(Math.max(at.zoom * factor, 1), MOST);
      show({
        x: at.x + px * width * (1 / at.zoom - 1 / zoom),
        y: at.y + py * height * (1 / at.zoom - 1 / zoom),
        zoom,
      });
    };
    const move = (dx, dy) => show({ x: at.x + dx, y: at.y + dy, zoom: at.zoom });
    const setOutlines = (on) => {
      viewer.classList.toggle("bare", !on);
      viewer.querySelector("[data-do=outlines]").setAttribute("aria-pressed", String(on));
    };
    const act = {
      in: () => zoomBy(STEP),
      out: () => zoomBy(1 / STEP),
      whole: () => show(whole),
      outlines: () => setOutlines(viewer.classList.contains("bare")),
    };
    all("button", viewer).forEach((button) => button.addEventListener("click", act[button.dataset.do]));

    const stage = viewer.querySelector(".stage");
    const keys = {
      "+": act.in, "=": act.in, "-": act.out, "_": act.out, 0: act.whole, o: act.outlines,
      ArrowLeft: () => move(-width / at.zoom / 8, 0),
      ArrowRight: () => move(width / at.zoom / 8, 0),
      ArrowUp: () => move(0, -height / at.zoom / 8),
      ArrowDown: () => move(0, height / at.zoom / 8),
    };
    stage.addEventListener("keydown", (event) => {
      const key = keys[event.key.length === 1 ? event.key.toLowerCase() : event.key];
      const moves = event.key.startsWith("Arrow");
      if (!key || event.ctrlKey || event.metaKey || event.altKey || (moves && at.zoom === 1)) return;
      event.preventDefault();
      key();
    });
    const shares = (event) => {
      const box = frame.getBoundingClientRect();
      return [(event.clientX - box.left) / box.width, (event.clientY - box.top) / box.height];
    };
    stage.addEventListener("wheel", (event) => {
      if (!event.ctrlKey && document.activeElement !== stage) return;
      const [px, py] = shares(event);
      if (px < 0 || px > 1 || py < 0 || py > 1) return;
      event.preventDefault();
      zoomBy(Math.exp(-event.deltaY * (event.deltaMode === 1 ? 0.04 : 0.0015)), px, py);
    }, { passive: false });
    let held = null;
    stage.addEventListener("pointerdown", (event) => {
      if (event.button !== 0 || at.zoom === 1) return;
      held = { x: event.clientX, y: event.clientY };
      stage.setPointerCapture(event.pointerId);
    });
    stage.addEventListener("pointermove", (event) => {
      if (!held) return;
      const perPx = width / at.zoom / frame.getBoundingClientRect().width;
      move((held.x - event.clientX) * perPx, (held.y - event.clientY) * perPx);
      held = { x: event.clientX, y: event.clientY };
    });
    ["pointerup", "pointercancel"].forEach((name) => stage.addEventListener(name, () => { held = null; }));
    stage.addEventListener("dblclick", (event) => zoomBy(STEP * STEP, ...shares(event)));

    views.set(viewer, { get: () => at, show, whole, setOutlines });
    setOutlines(outlines);
  };

  // The scale bar of a picture that is enlarged: again of a round length, about a fifth of the picture.
  const drawBar = (bar, width, zoom) => {
    const per = +bar.dataset.perPx / zoom;
    const target = (width * per) / 5;
    const decade = 10 ** Math.floor(Math.log10(target));
    const length = decade * Math.max(...[1, 2, 5].filter((step) => step * decade <= target));
    const strip = +bar.dataset.strip;
    const unit = bar.dataset.unit;
    const round = (value) => String(+value.toPrecision(1));
    const path = bar.querySelector("path");
    path.setAttribute("d", path.getAttribute("d").replace(/h.*/, `h${(length / per).toFixed(1)}`));
    const text = bar.querySelector("text");
    text.setAttribute("x", (length / per + 0.35 * strip).toFixed(1));
    text.textContent = unit === "µm" && length >= 1000 ? `${round(length / 1000)} mm` : `${round(length)} ${unit}`;
  };

  const allOutlines = document.getElementById("all-outlines");
  if (allOutlines) {
    allOutlines.addEventListener("click", () => {
      outlines = !outlines;
      allOutlines.setAttribute("aria-pressed", String(outlines));
      views.forEach((view) => view.setOutlines(outlines));
    });
  }

  // The table of specimens: sorted by any column, filtered by words and group.
  const table = document.getElementById("specimen-table");
  const makeSortable = () => {
    const body = table.tBodies[0];
    const rows = [...body.rows];
    const words = document.getElementById("specimen-words");
    const group = document.getElementById("specimen-group");
    const count = document.getElementById("specimen-count");
    const heads = [...table.tHead.rows[0].cells];
    const groupColumn = heads.findIndex((head) => head.firstChild.textContent === "Group");
    const compare = new Intl.Collator("en", { numeric: true }).compare;

    const filter = () => {
      const wanted = words.value.toLowerCase().split(/\s+/).filter(Boolean);
      const shown = rows.filter((row) => {
        const text = row.textContent.toLowerCase();
        const own = groupColumn < 0 || !group.value || row.cells[groupColumn].textContent === group.value;
        row.hidden = !own || !wanted.every((word) => text.includes(word));
        return !row.hidden;
      });
      count.value = `${shown.length} of ${rows.length} specimens shown`;
    };
    const sort = (column, direction) => {
      const key = (row) => {
        const cell = row.cells[column];
        if (cell.dataset.value !== undefined) return +cell.dataset.value;
        return cell.classList.contains("n") ? null : cell.textContent.trim() || null;
      };
      const order = rows.map((row, place) => ({ row, place, key: key(row) }));
      order.sort((a, b) => {
        if (a.key === null || b.key === null) return (a.key === null) - (b.key === null) || a.place - b.place;
        const between = typeof a.key === "number" ? a.key - b.key : compare(a.key, b.key);
        return direction * between || a.place - b.place;
      });
      body.append(...order.map((entry) => entry.row));
      heads.forEach((head, k) => {
        if (k === column) head.setAttribute("aria-sort", direction > 0 ? "ascending" : "descending");
        else head.removeAttribute("aria-sort");
      });
    };
    heads.forEach((head, column) => {
      const button = document.createElement("button");
      button.type = "button";
      button.append(...head.childNodes);
      head.append(button);
      button.addEventListener("click", () => {
        sort(column, head.getAttribute("aria-sort") === "ascending" ? -1 : 1);
      });
    });
    [words, group].forEach((control) => control.addEventListener("input", filter));
    filter();
  };
  if (table) makeSortable();
  all(".controls").forEach((controls) => { controls.hidden = false; });

  // On paper every picture is whole, and what is folded away about a specimen is shown.
  let before = [];
  addEventListener("beforeprint", () => {
    before = [];
    views.forEach((view) => {
      const at = view.get();
      if (at.zoom > 1) {
        before.push(() => view.show(at));
        view.show(view.whole);
      }
    });
    all(".specimen details:not([open])").forEach((details) => {
      details.open = true;
      before.push(() => { details.open = false; });
    });
    all(".waiting").filter((waiting) => !waiting.closest("details:not([open])")).forEach(fill);
  });
  addEventListener("afterprint", () => { before.forEach((restore) => restore()); before = []; });

  all(".waiting").forEach((waiting) => seen.observe(waiting));
})();
