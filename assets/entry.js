// What helps the hand while samples are entered: working out as one types, moving, copying down, pasting, keeping the draft.
"use strict";
(() => {
  const form = document.querySelector(".entry-form");
  if (!form) return;
  document.querySelectorAll(".hand").forEach((note) => note.removeAttribute("hidden"));
  const body = form.querySelector(".grid tbody");
  const columns = ["number", "position", "worker", "task", "runs", "before", "after", "controls"];
  const rows = () => [...body.querySelectorAll("tr.sample")];
  const cell = (row, column) => row.querySelector(`[name="${row.dataset.row}-${column}"]`);
  const place = (field) => {
    const row = field.closest?.("tr.sample");
    const column = row && field.name?.slice(row.dataset.row.length + 1);
    return row && columns.includes(column) ? { row, column, at: rows().indexOf(row) } : null;
  };

  // Times and flows are read as the server reads them; where it would say a fault, nothing is shown.
  const DAY = 1440, AHEAD = 960;
  const per = (unit) => /^(min|mins|minute|minutes)$/.test(unit) ? 1 : /^(h|hr|hrs|hour|hours)$/.test(unit) ? 60 : 0;
  const minutes = (text) => {
    const words = text.toLowerCase().split(/[\s\-–—−,;/]+/).filter((word) => word && !/^(to|till|until|and)$/.test(word));
    const times = [];
    let counted = null;
    for (let i = 0; i < words.length; i++) {
      const word = words[i];
      const [, number, own] = word.match(/^([\d.]*)(.*)$/);
      const unit = own || (per(words[i + 1] ?? "") ? words[i + 1] : "");
      if (number && !isNaN(number) && per(unit)) {
        if (!own) i++;
        counted = (counted ?? 0) + Number(number) * per(unit);
        continue;
      }
      const time = word.match(/^(\d{1,2}):(\d{2})$/) || word.match(/^(\d{2})(\d{2})$/);
      if (!time || time[1] > 23 || time[2] > 59) return null;
      const before = times.at(-1) ?? 0;
      let at = Math.floor(before / DAY) * DAY + Number(time[1]) * 60 + Number(time[2]);
      if (at < before && at + DAY - before <= AHEAD) at += DAY;
      times.push(at);
    }
    if (counted !== null) return counted;
    if (!times.length || times.length % 2) return null;
    let sum = 0;
    for (let i = 0; i < times.length; i += 2) {
      if (times[i + 1] <= times[i] || (i && times[i] < times[i - 1])) return null;
      sum += times[i + 1] - times[i];
    }
    return sum;
  };
  const flow = (text) => {
    const [, number, unit] = text.trim().match(/^([\d.]*)(.*)$/s);
    const plain = unit.replace(/\s+/g, "").toLowerCase();
    const size = /^(l\/min|lpm|l\/m)$/.test(plain) ? 1 : /^(ml\/min|mlpm|cc\/min|cm[3³]\/min)$/.test(plain) ? 0.001 : 0;
    return number && size && Number(number) > 0 ? Number(number) * size : null;
  };
  const workOut = (row) => {
    const told = (of, text) => { row.querySelector(`output[data-of="${of}"]`).textContent = text; };
    const ran = minutes(cell(row, "runs").value);
    const before = flow(cell(row, "before").value), after = flow(cell(row, "after").value);
    told("minutes", ran > 0 ? ran.toFixed(0) : "");
    const change = before && after ? Math.abs(100 * (after - before) / before).toFixed(1) : "";
    told("change", change && (after < before && change !== "0.0" ? `−${change} %` : `${change} %`));
    const volume = before && after && ran > 0 ? (before + after) / 2 * ran : 0;
    told("volume", volume ? `${volume.toFixed(volume >= 100 ? 0 : volume >= 10 ? 1 : 2)} L` : "");
    const who = row.querySelector(".who");
    const number = cell(row, "worker").value.trim();
    const known = [...document.querySelectorAll("#workers option")].find((option) => option.value === number);
    if (known || !number) who.textContent = known ? known.textContent : "";
  };

  // A value put into a cell, as if it were typed; a choice is found by its word.
  const put = (row, column, text) => {
    const field = cell(row, column);
    if (field.tagName === "SELECT") {
      const plain = text.trim().toLowerCase().replaceAll("_", " ");
      const found = [...field.options].find((option) => [option.text.toLowerCase(), option.value.replaceAll("_", " ")].includes(plain));
      if (found) field.value = found.value;
    } else {
      field.value = text.trim();
    }
  };
  const countedOn = (text) => text.replace(/\d+$/, (digits) => String(Number(digits) + 1).padStart(digits.length, "0"));
  const fromAbove = (row, above, column) => {
    const text = cell(above, column).value;
    cell(row, column).value = column === "number" ? countedOn(text) : text;
  };
  const copyDown = (column) => {
    let above = null;
    for (const row of rows()) {
      if (cell(row, column).value.trim() && column !== "position") above = row;
      else if (column === "position" && !above) above = row;
      else if (above && (column === "number" || cell(row, "number").value.trim())) {
        fromAbove(row, above, column);
        above = row;
      }
      workOut(row);
    }
    changed();
  };
  const addRow = () => {
    const all = rows(), last = all.at(-1), n = all.length;
    if (n >= Number(form.dataset.most)) return false;
    const made = last.cloneNode(true);
    const extra = form.querySelector(`details[data-row="r${n - 1}"]`);
    const more = extra.cloneNode(true);
    for (const part of [made, more]) {
      for (const one of [part, ...part.querySelectorAll("*")]) {
        for (const name of ["id", "name", "for", "data-row"]) {
          const value = one.getAttribute(name);
          if (value) one.setAttribute(name, value.replace(new RegExp(`(^| )r${n - 1}(?=-| |$)`, "g"), `$1r${n}`));
        }
        const label = one.getAttribute("aria-label");
        if (label) one.setAttribute("aria-label", label.replace(String(n), String(n + 1)));
        if (one.tagName === "INPUT") one.value = "";
        one.removeAttribute("aria-invalid");
        one.removeAttribute("aria-describedby");
      }
      part.querySelectorAll("output, .who, .of-number").forEach((one) => { one.textContent = ""; });
    }
    made.className = "sample";
    made.querySelector(".num").lastChild.textContent = String(n + 1);
    more.querySelector("summary").firstChild.textContent = more.querySelector("summary").firstChild.textContent.replace(String(n), String(n + 1));
    more.open = false;
    body.append(made);
    extra.after(more);
    form.elements.rows.value = String(n + 1);
    return true;
  };

  // The draft is kept on the server a little after the last stroke, and when the page is left.
  const kept = document.getElementById("kept");
  let waiting = null, touched = false;
  const keep = async () => {
    clearTimeout(waiting);
    waiting = null;
    if (!touched) return;
    touched = false;
    try {
      const answer = await fetch(form.dataset.draft, { method: "POST", body: new URLSearchParams(new FormData(form)), keepalive: true, redirect: "error" });
      if (!answer.ok) throw new Error(String(answer.status));
      const now = new Date();
      const time = `${String(now.getHours()).padStart(2, "0")}:${String(now.getMinutes()).padStart(2, "0")}`;
      kept.textContent = kept.dataset.kept.replace("{time}", time);
      kept.dataset.state = "kept";
    } catch {
      touched = true;
      kept.textContent = kept.dataset.lost;
    }
  };
  function changed() {
    touched = true;
    kept.dataset.state = "typing";
    clearTimeout(waiting);
    waiting = setTimeout(keep, 1200);
  }
  addEventListener("pagehide", () => { if (waiting) keep(); });
  form.addEventListener("submit", () => { clearTimeout(waiting); waiting = null; touched = false; });

  form.addEventListener("input", (event) => {
    const at = place(event.target);
    if (at) workOut(at.row);
    changed();
  });
  form.addEventListener("click", (event) => {
    const button = event.target.closest("button[name=do]");
    if (button?.value === "down") {
      event.preventDefault();
      copyDown(form.elements.column.value);
    } else if (button?.value === "rows") {
      event.preventDefault();
      const first = rows().length;
      for (let i = 0; i < 4; i++) addRow();
      const next = rows()[first];
      if (next) cell(next, "number").focus();
      changed();
    }
  });
  body.addEventListener("keydown", (event) => {
    const at = place(event.target);
    if (!at) return;
    const all = rows();
    const go = (n) => { const row = all[n]; if (row) { const field = cell(row, at.column); field.focus(); field.select?.(); } };
    if (event.key === "Enter" && !event.ctrlKey && !event.metaKey) {
      event.preventDefault();
      go(event.shiftKey ? at.at - 1 : at.at + 1);
    } else if (event.key.toLowerCase() === "d" && (event.ctrlKey || event.metaKey) && !event.shiftKey && !event.altKey) {
      event.preventDefault();
      if (at.at > 0) {
        fromAbove(at.row, all[at.at - 1], at.column);
        workOut(at.row);
        changed();
      }
    }
  });
  body.addEventListener("paste", (event) => {
    const at = place(event.target);
    const text = event.clipboardData?.getData("text/plain") ?? "";
    const lines = text.replace(/\r/g, "").replace(/\n+$/, "").split("\n");
    if (!at || (lines.length < 2 && !text.includes("\t"))) return;
    event.preventDefault();
    const first = columns.indexOf(at.column);
    lines.forEach((line, n) => {
      if (!rows()[at.at + n] && !addRow()) return;
      const row = rows()[at.at + n];
      line.split("\t").forEach((text, k) => { if (columns[first + k]) put(row, columns[first + k], text); });
      workOut(row);
    });
    changed();
  });
  const faults = document.getElementById("faults");
  if (faults) faults.focus();
})();
