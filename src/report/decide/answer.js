// Answers by keyboard, kept by the browser until they are saved as one file. Without this the page is
// a list to read.
"use strict";
(function () {
  const data = JSON.parse(document.getElementById("data").textContent);
  const questions = data.questions;
  const by = (id) => document.getElementById(id);
  const form = by("answer"), word = by("word"), list = by("words"), scope = by("scope");
  const said = by("said"), why = by("why"), who = by("who"), remove = by("remove");
  const fileOf = new Map(data.files);
  const SHOWN = 60;
  let current = -1;
  let options = [], active = -1;

  // What was answered, by the cells that find its row.
  const keyText = (key) =>
    JSON.stringify([key.place, key.subject, key.patient_id, key.plan_id, key.roi_number]);

  // This browser's memory; where a page has none, the name of its window, which a reload keeps.
  const PLACE = "tidydose decide " + location.pathname;
  const memory = (function () {
    try {
      localStorage.setItem(PLACE + " test", "1");
      localStorage.removeItem(PLACE + " test");
      return {
        lasting: true,
        read: () => localStorage.getItem(PLACE),
        write: (text) => localStorage.setItem(PLACE, text),
      };
    } catch (refused) {
      return {
        lasting: false,
        read: () => (window.name.startsWith(PLACE) ? window.name.slice(PLACE.length) : null),
        write: (text) => { window.name = PLACE + text; },
      };
    }
  })();
  let state = { answers: {}, who: "", saved: true };
  try {
    const kept = JSON.parse(memory.read());
    if (kept && typeof kept.answers === "object") state = kept;
  } catch (damaged) { /* nothing was kept */ }
  const asked = new Set();
  for (const q of questions) for (const key of keysOf(q)) asked.add(keyText(key));
  // What is asked no longer was taken over, or is gone: it is not saved again.
  for (const key of Object.keys(state.answers)) if (!asked.has(key)) delete state.answers[key];

  function keep() {
    try {
      memory.write(JSON.stringify(state));
    } catch (full) {
      memory.lasting = false;
    }
    tell();
  }

  function keysOf(q) {
    const keys = q.parts.map((part) => part.key);
    return q.all ? [q.all, ...keys] : keys;
  }

  const answerOf = (key) => state.answers[keyText(key)];

  // Answered as a whole, or each of its parts.
  function isAnswered(q) {
    if (q.all && answerOf(q.all)) return true;
    return q.parts.length > 0 && q.parts.every((part) => answerOf(part.key));
  }

  function given(q) {
    const own = q.all && answerOf(q.all);
    const parts = q.parts.filter((part) => !sameKey(part.key, q.all) && answerOf(part.key));
    const words = [];
    if (own) words.push(own.answer);
    const single = new Set(parts.map((part) => answerOf(part.key).answer));
    if (parts.length) words.push([...single].join(", ") + " for " + parts.length + " of " + q.parts.length);
    return words.join("; ");
  }

  const sameKey = (a, b) => Boolean(a && b) && keyText(a) === keyText(b);

  // --- what stands around -----------------------------------------------------------------------

  const links = new Map();
  for (const link of document.querySelectorAll("#list a")) {
    const index = Number(link.hash.slice(2)) - 1;
    const note = document.createElement("span");
    note.className = "sub";
    link.parentElement.append(note);
    links.set(index, { link, note });
    link.addEventListener("click", function (event) {
      event.preventDefault();
      open(index, true);
    });
  }

  function tell() {
    let count = 0;
    questions.forEach(function (q, index) {
      const done = isAnswered(q);
      if (done) count += 1;
      const { link, note } = links.get(index);
      const words = given(q);
      note.textContent = words;
      note.classList.toggle("given", done);
      if (index === current) link.setAttribute("aria-current", "true");
      else link.removeAttribute("aria-current");
    });
    by("count").textContent = count + " of " + questions.length;
    by("done").value = count;
    const rows = Object.keys(state.answers).length;
    by("save").disabled = rows === 0;
    const kept = memory.lasting
      ? "This browser keeps them until then; a reload loses nothing."
      : "This browser keeps nothing beyond this window: save before you close it.";
    by("kept").textContent = rows === 0
      ? "Nothing is answered yet."
      : state.saved
        ? "Saved as answers.csv, usually in the folder of downloads. Put it into the study folder and run the same command again."
        : rows + (rows === 1 ? " answer is" : " answers are") + " not saved as a file yet. " + kept;
  }

  // --- the question that is open ---------------------------------------------------------------

  function open(index, focus) {
    if (index < 0 || index >= questions.length) return;
    current = index;
    document.querySelectorAll(".question.open").forEach((e) => e.classList.remove("open"));
    const article = by("q" + (index + 1));
    article.classList.add("open");
    article.querySelector(".slot").append(form);
    form.hidden = false;
    form.setAttribute("aria-label", "Answer: " + questions[index].title);
    layScopes(questions[index]);
    begin();
    tell();
    links.get(index).link.scrollIntoView({ block: "nearest" });
    if (focus) {
      word.focus({ preventScroll: true });
      article.scrollIntoView({ block: "start" });
    }
  }

  function layScopes(q) {
    const choices = [];
    if (q.all) choices.push(["all", q.all_words]);
    else if (q.parts.length > 1) choices.push(["each", "each of " + q.all_words]);
    if (!q.all || q.parts.length > 1) {
      q.parts.forEach(function (part, i) {
        choices.push([String(i), "only " + part.title + (part.seen ? ": " + part.seen : "")]);
      });
    }
    scope.replaceChildren(...choices.map(function ([value, words]) {
      const option = document.createElement("option");
      option.value = value;
      option.textContent = words;
      return option;
    }));
    by("for-whom").hidden = choices.length < 2;
  }

  // The rows that the answer goes to.
  function keysMeant() {
    const q = questions[current];
    if (scope.value === "all") return [q.all];
    if (scope.value === "each") return q.parts.map((part) => part.key);
    return [q.parts[Number(scope.value)].key];
  }

  function begin() {
    const q = questions[current];
    const answered = answerOf(keysMeant()[0]);
    word.value = "";
    why.value = answered ? answered.comment : "";
    remove.hidden = !answered;
    const unit = q.accepts.number;
    by("word-label").textContent = unit ? "Answer: a number of " + unit : "Answer: type to search";
    word.inputMode = unit ? "decimal" : "text";
    said.textContent = answered ? "Answered: " + answered.answer : "";
    layOptions();
  }

  // --- what may be answered -----------------------------------------------------------------

  function unusual(entry, q) {
    const range = entry.plausible_cc, cc = q.volume_cc;
    if (!range || cc === null || (cc >= range[0] && cc <= range[1])) return "";
    return Number(cc.toPrecision(3)) + " cc is unusual: " + range[0] + " to " + range[1] + " cc are plausible (" + entry.source + ")";
  }

  function accepted(q) {
    if (q.accepts === "name") return data.words;
    return q.accepts.words || [];
  }

  // A word for which nothing but a rule says that it is one.
  function ownWord(text) {
    const margin = /^(.+?)(_PRV\d\d)?(~)?(_[LR])?$/.exec(text);
    const known = (name) => data.words.some((w) => w.word.toLowerCase() === name.toLowerCase());
    if (/^own:\s*\S/i.test(text)) return [text, "a name of your own"];
    if (/^(GTV|CTV|PTV)/i.test(text)) return [text, "a target"];
    if (/^(z_|_|z[A-Z])/.test(text)) return [text, "an aid to planning"];
    if (margin && (margin[2] || margin[3]) && known(margin[1] + (margin[4] || "")))
      return [text, margin[2] ? "with a margin" : "a part"];
    return ["own:" + text, "a name of your own; nothing here is called so"];
  }

  function found(q, text) {
    const wanted = text.toLowerCase().split(/\s+/).filter(Boolean);
    const scored = [];
    for (const entry of accepted(q)) {
      const name = entry.word.toLowerCase().replace(/^role:/, "");
      const all = name + " " + entry.word.toLowerCase() + " " + entry.meaning.toLowerCase();
      if (!wanted.every((w) => all.includes(w))) continue;
      const whole = name === text.toLowerCase() ? 0 : name.startsWith(wanted[0]) ? 1 : name.includes(wanted[0]) ? 2 : 3;
      const odd = unusual(entry, q);
      scored.push({ rank: whole * 2 + (odd ? 1 : 0), word: entry.word, words: [entry.meaning, odd].filter(Boolean).join("; ") });
    }
    scored.sort((a, b) => a.rank - b.rank);
    return scored;
  }

  function layOptions() {
    const q = questions[current];
    const text = word.value.trim();
    options = [];
    active = -1;
    let more = 0;
    if (q.accepts.number) {
      // A number is typed, not chosen.
    } else if (text) {
      const all = found(q, text);
      options = all.slice(0, SHOWN);
      more = all.length - options.length;
      if (options.length) active = 0;
      if (q.accepts === "name" && !options.some((o) => o.word.toLowerCase() === text.toLowerCase())) {
        const [own, words] = ownWord(text);
        options.push({ word: own, words });
      }
    } else {
      const meaning = new Map(accepted(q).map((entry) => [entry.word, entry]));
      for (const s of q.suggestions) {
        const entry = meaning.get(s.answer);
        options.push({ word: s.answer, words: [entry && entry.meaning, s.why].filter(Boolean).join("; "), proposed: true });
      }
      if (q.suggestions.length && q.suggestions[0].likely) active = 0;
      const rest = accepted(q).filter((e) => !q.suggestions.some((s) => s.answer === e.word));
      const room = q.suggestions.length ? 12 : SHOWN;
      for (const entry of rest.slice(0, room)) {
        options.push({ word: entry.word, words: [entry.meaning, unusual(entry, q)].filter(Boolean).join("; ") });
      }
      more = Math.max(0, rest.length - room);
    }
    list.replaceChildren(...options.map(layOption));
    if (more) {
      const rest = document.createElement("li");
      rest.setAttribute("role", "option");
      rest.setAttribute("aria-disabled", "true");
      rest.setAttribute("aria-selected", "false");
      rest.className = "sub";
      rest.textContent = "and " + more + " more: type a part of the word or of its meaning";
      list.append(rest);
    }
    word.setAttribute("aria-expanded", String(options.length > 0));
    mark(active);
  }

  function layOption(option, index) {
    const item = document.createElement("li");
    item.id = "w" + index;
    item.setAttribute("role", "option");
    if (option.proposed) {
      const tag = document.createElement("span");
      tag.className = "proposed";
      tag.textContent = "proposed";
      item.append(tag);
    }
    const name = document.createElement("strong");
    name.textContent = option.word;
    const words = document.createElement("span");
    words.className = "sub";
    words.textContent = option.words;
    item.append(name, words);
    item.addEventListener("mousedown", (event) => event.preventDefault());
    item.addEventListener("click", () => take(option.word));
    return item;
  }

  function mark(index) {
    active = index;
    Array.from(list.children).forEach(function (item, i) {
      item.setAttribute("aria-selected", String(i === index));
    });
    if (index >= 0) {
      word.setAttribute("aria-activedescendant", "w" + index);
      const item = list.children[index];
      list.scrollTop = Math.min(item.offsetTop - list.offsetTop, Math.max(list.scrollTop, item.offsetTop - list.offsetTop + item.offsetHeight - list.clientHeight));
    } else {
      word.removeAttribute("aria-activedescendant");
    }
  }

  // --- taking, leaving, going -------------------------------------------------------------------

  function take(text) {
    const now = new Date();
    const two = (n) => String(n).padStart(2, "0");
    const on = now.getFullYear() + "-" + two(now.getMonth() + 1) + "-" + two(now.getDate());
    for (const key of keysMeant()) state.answers[keyText(key)] = { answer: text, comment: why.value.trim(), on };
    state.saved = false;
    keep();
    const q = questions[current];
    if (/^\d+$/.test(scope.value) && !isAnswered(q)) {
      // One of several: the next one of the same question.
      const next = q.parts.findIndex((part) => !answerOf(part.key));
      if (next >= 0) {
        scope.value = String(next);
        begin();
        said.textContent = "Taken: " + text + ". The next one is " + q.parts[next].title + ".";
        word.focus();
        return;
      }
    }
    const title = q.title;
    if (!forward()) {
      begin();
      said.textContent = "Taken: " + text + " for " + title + ". All questions are answered: save.";
      by("save").focus();
    } else {
      said.textContent = "Taken: " + text + " for " + title + ".";
    }
  }

  // The next open question behind this one, else the first; false where there is none.
  function forward() {
    const n = questions.length;
    for (let step = 1; step <= n; step += 1) {
      const index = (current + step) % n;
      if (index !== current && !isAnswered(questions[index])) {
        open(index, true);
        return true;
      }
    }
    return false;
  }

  function submit() {
    const q = questions[current];
    const text = word.value.trim();
    if (q.accepts.number) {
      const number = Number(text.replace(",", "."));
      if (!/^\d+([.,]\d+)?$/.test(text) || !(number > 0)) {
        said.textContent = "`" + text + "` is no positive number of " + q.accepts.number + ".";
        return;
      }
      take(text);
    } else if (active >= 0) {
      take(options[active].word);
    } else {
      said.textContent = options.length
        ? "Nothing is marked: choose with the arrow keys, or type."
        : "Nothing accepted begins so.";
    }
  }

  function unsure() {
    const title = questions[current].title;
    open((current + 1) % questions.length, true);
    said.textContent = title + " stays as it is. " + said.textContent;
  }

  word.addEventListener("input", layOptions);
  word.addEventListener("keydown", function (event) {
    if (event.altKey || event.ctrlKey || event.metaKey) return;
    const last = options.length - 1;
    if (event.key === "ArrowDown" && last >= 0) mark(active >= last ? 0 : active + 1);
    else if (event.key === "ArrowUp" && last >= 0) mark(active <= 0 ? last : active - 1);
    else if (event.key === "PageDown") unsure();
    else if (event.key === "PageUp") open((current + questions.length - 1) % questions.length, true);
    else if (event.key === "Escape") { word.value = ""; layOptions(); }
    else return;
    event.preventDefault();
  });
  form.addEventListener("submit", function (event) {
    event.preventDefault();
    submit();
  });
  scope.addEventListener("change", begin);
  by("unsure").addEventListener("click", unsure);
  by("back").addEventListener("click", () => open((current + questions.length - 1) % questions.length, true));
  remove.addEventListener("click", function () {
    for (const key of keysMeant()) delete state.answers[keyText(key)];
    state.saved = Object.keys(state.answers).length === 0;
    keep();
    begin();
    said.textContent = "The answer was removed; the question is open again.";
    word.focus();
  });
  who.addEventListener("input", function () {
    state.who = who.value;
    keep();
  });

  // --- saving -----------------------------------------------------------------------------------

  // A text that a spreadsheet would take for a formula has an apostrophe before it, as in the CSV
  // files of the study.
  function cell(text) {
    const formula = /^[\t\r\n]|^[\s\p{Cc}\u200B-\u200F\u2060\uFEFF]*[=+\-@＝＋－＠]/u;
    const safe = formula.test(text) ? "'" + text : text;
    return /[",\r\n]/.test(safe) ? '"' + safe.replace(/"/g, '""') + '"' : safe;
  }

  function file() {
    const lines = [data.columns.join(",")];
    const written = new Set();
    for (const q of questions) {
      for (const key of keysOf(q)) {
        const answer = answerOf(key);
        if (!answer || written.has(keyText(key))) continue;
        written.add(keyText(key));
        const values = {
          file: fileOf.get(key.place), subject: key.subject, patient_id: key.patient_id,
          plan_id: key.plan_id, roi_number: key.roi_number, answer: answer.answer,
          comment: answer.comment, decided_by: state.who, decided_on: answer.on,
          question: q.title + ": " + q.asks,
        };
        lines.push(data.columns.map((column) => cell(values[column])).join(","));
      }
    }
    return "\ufeff" + lines.join("\r\n") + "\r\n";
  }

  by("save").addEventListener("click", function () {
    const url = URL.createObjectURL(new Blob([file()], { type: "text/csv" }));
    const link = document.createElement("a");
    link.href = url;
    link.download = "answers.csv";
    link.click();
    setTimeout(() => URL.revokeObjectURL(url), 1000);
    state.saved = true;
    keep();
  });
  window.addEventListener("beforeunload", function (event) {
    if (!state.saved && !memory.lasting) event.preventDefault();
  });

  document.body.classList.add("scripted");
  if (questions.length) {
    by("saving").hidden = false;
    who.value = state.who || "";
    if (matchMedia("(max-width: 52rem)").matches) document.querySelector("#list details").open = false;
    const wished = /^#q(\d+)$/.exec(location.hash);
    const first = questions.findIndex((q) => !isAnswered(q));
    open(wished ? Math.min(Number(wished[1]), questions.length) - 1 : Math.max(first, 0), false);
  }
})();
