"use strict";
// Bytes answer pointer and keyboard: each knows its field by its place, and the field's row in the
// table below says the rest.
(() => {
  const HINT = "Point at a byte, or walk with the arrow keys.";
  let serial = 0;

  const bits = (text) => {
    const value = parseInt(text, 16);
    if (Number.isNaN(value)) return "";
    return `, bits 7-0 ${value.toString(2).padStart(8, "0")}`;
  };

  const wire = (box) => {
    const strip = box.querySelector(".strip");
    const say = box.querySelector(".say");
    const rows = [...box.querySelectorAll("tbody tr:not(.bits)")];
    const cells = [];
    box.querySelectorAll(".field").forEach((field, i) => {
      const [sent, name, value, meaning] = [...rows[i].cells].map((cell) => cell.textContent);
      field.setAttribute("role", "group");
      field.setAttribute("aria-label", name);
      field.querySelector(".fname").setAttribute("aria-hidden", "true");
      field.querySelectorAll(".o").forEach((cell) => {
        const place = cells.length;
        const text = cell.textContent;
        cells.push(cell);
        cell.id = `byte-${serial++}`;
        cell.setAttribute("role", "option");
        cell.setAttribute("aria-selected", "false");
        cell.setAttribute("aria-label", `byte ${place}, ${text}: ${name}`);
        cell.tabIndex = place === 0 ? 0 : -1;
        cell.says = { place, text, name, sent, value, meaning, field, row: rows[i] };
      });
    });
    if (cells.length === 0) return;
    strip.setAttribute("role", "listbox");
    strip.setAttribute("aria-label", box.dataset.name);
    strip.setAttribute("aria-orientation", "horizontal");
    let held = null;
    let lit = null;

    const light = (cell) => {
      if (lit) {
        lit.classList.remove("here");
        lit.says.field.classList.remove("here");
        lit.says.row.classList.remove("here");
      }
      lit = cell;
      say.classList.toggle("idle", !cell);
      if (!cell) {
        say.textContent = HINT;
        return;
      }
      const { place, text, name, sent, value, meaning, field, row } = cell.says;
      cell.classList.add("here");
      field.classList.add("here");
      row.classList.add("here");
      say.replaceChildren();
      const strong = document.createElement("strong");
      strong.textContent = name;
      const span = sent === String(place) ? "" : ` of bytes ${sent}`;
      const tail = [value, meaning].filter((part) => part).join("; ");
      say.append(`Byte ${place}${span}, ${text}${bits(text)}: `, strong, ` ${tail}`);
    };

    const hold = (cell) => {
      if (held) held.setAttribute("aria-selected", "false");
      for (const other of cells) other.tabIndex = -1;
      cell.tabIndex = 0;
      cell.setAttribute("aria-selected", "true");
      held = cell;
      light(cell);
    };

    // The byte in the line above or below that stands nearest.
    const line = (from, down) => {
      const box = from.getBoundingClientRect();
      let best = null;
      let least = Infinity;
      for (const cell of cells) {
        const at = cell.getBoundingClientRect();
        const drop = down ? at.top - box.top : box.top - at.top;
        if (drop < box.height / 2) continue;
        const far = drop * 1000 + Math.abs(at.left - box.left);
        if (far < least) [best, least] = [cell, far];
      }
      return best;
    };

    strip.addEventListener("focusin", (event) => {
      if (event.target.says) hold(event.target);
    });
    strip.addEventListener("click", (event) => {
      if (event.target.says) event.target.focus();
    });
    strip.addEventListener("pointerover", (event) => {
      if (event.target.says) light(event.target);
    });
    strip.addEventListener("pointerleave", () => {
      light(strip.contains(document.activeElement) ? held : null);
    });
    strip.addEventListener("focusout", (event) => {
      if (!strip.contains(event.relatedTarget)) light(null);
    });
    strip.addEventListener("keydown", (event) => {
      const from = event.target;
      if (!from.says || event.altKey || event.ctrlKey || event.metaKey) return;
      const place = from.says.place;
      const to = {
        ArrowLeft: () => cells[place - 1],
        ArrowRight: () => cells[place + 1],
        ArrowUp: () => line(from, false),
        ArrowDown: () => line(from, true),
        Home: () => cells[0],
        End: () => cells[cells.length - 1],
      }[event.key];
      if (!to) return;
      event.preventDefault();
      const cell = to();
      if (cell) cell.focus();
    });
  };

  document.querySelectorAll(".octets").forEach(wire);
  document.documentElement.classList.add("live");

  document.querySelectorAll("[data-copy]").forEach((button) => {
    button.hidden = false;
    button.addEventListener("click", async () => {
      const text = document.getElementById(button.dataset.copy);
      try {
        await navigator.clipboard.writeText(text.textContent);
        button.textContent = "Copied";
      } catch {
        // A file may not be let near the clipboard: then it is marked for the reader to copy.
        const range = document.createRange();
        range.selectNodeContents(text);
        const selection = window.getSelection();
        selection.removeAllRanges();
        selection.addRange(range);
        button.textContent = "Selected: now copy";
      }
      setTimeout(() => { button.textContent = "Copy"; }, 4000);
    });
  });

  // Paper has no summary to click.
  let closed = [];
  window.addEventListener("beforeprint", () => {
    closed = [...document.querySelectorAll("details:not([open])")];
    for (const one of closed) one.open = true;
  });
  window.addEventListener("afterprint", () => {
    for (const one of closed) one.open = false;
  });
})();
