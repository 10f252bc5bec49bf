// What was typed and not saved outlives the tab: a draft for each form and person, kept on this device.
"use strict";
window.drafts = (() => {
  const { person, kept } = document.body.dataset;
  const longestMs = 30 * 24 * 3600 * 1000;

  // The words of the page's language stand in a data block; where there is none, as on an English page,
  // they are what stands here. shop/script_words.py holds them all.
  const block = document.getElementById("script-words");
  const words = block ? JSON.parse(block.textContent) : {};
  const say = (text, values) => (words[text] || text).replace(/%\((\w+)\)s/g, (_, name) => values[name]);
  const sayCount = (n, one, many) => say(n === 1 ? one : many, { n });

  const make = (tag, properties, ...inside) => {
    const made = Object.assign(document.createElement(tag), properties);
    made.append(...inside);
    return made;
  };
  const when = (moment) => new Date(moment).toLocaleString(document.documentElement.lang, { dateStyle: "medium", timeStyle: "short" });

  // A note above the form.
  function note(form, words, ...inside) {
    const box = make("div", { className: "note", role: "status" }, ...words.map((text) => make("p", {}, text)), ...inside);
    form.before(box);
    return box;
  }

  const addressOf = (form) => (form.getAttribute("action") || location.pathname) + location.hash;
  const keyOf = (form) => `draft ${person} ${addressOf(form).toLowerCase()}`;
  // A form that was refused holds what was sent, and its own number: nothing is filled in over it.
  const refused = (form) => Boolean(form.querySelector(".errorlist, [role=alert]"));
  // Name and value of all that is filled in. Files stay out: a form cannot be given them back.
  const pairsOf = (form) =>
    [...new FormData(form)].filter(([name, value]) => name !== "csrfmiddlewaretoken" && typeof value === "string");
  const gist = (pairs) => JSON.stringify(pairs.filter(([name]) => name !== "uuid"));

  // The page may have been kept for days, or sent before and come back to, so the form's number and day are
  // made here. The number makes a form that is sent twice one check-in; a draft brings its own back.
  function freshen(form) {
    const { uuid, day } = form.elements;
    if (uuid && crypto.randomUUID) uuid.value = crypto.randomUUID();
    const now = new Date();
    if (kept && day) day.value = new Date(now - now.getTimezoneOffset() * 60000).toISOString().slice(0, 10);
  }

  function fill(form, pairs) {
    for (const box of form.elements) {
      const values = pairs.filter(([name]) => name === box.name).map(([, value]) => value);
      if (box.type === "radio" || box.type === "checkbox") box.checked = values.includes(box.value);
      else if (values.length && box.type !== "file" && (box.type !== "hidden" || box.name === "uuid")) {
        // An old date, or a box rarely used, is not filled in out of sight.
        if (box.value !== values[0] && box.closest("details")) box.closest("details").open = true;
        box.value = values[0];
      }
    }
    form.dispatchEvent(new Event("change", { bubbles: true })); // the preview follows
  }

  const keep = (form) => localStorage.setItem(keyOf(form), JSON.stringify({ at: Date.now(), pairs: pairsOf(form) }));

  function watch(form) {
    const key = keyOf(form);
    const untouched = refused(form) ? "" : gist(pairsOf(form));
    const draft = JSON.parse(localStorage.getItem(key) || "null");
    if (!refused(form)) freshen(form);
    if (draft && !refused(form)) {
      fill(form, draft.pairs);
      const button = make("button", { type: "button" }, say("Throw it away, start afresh"));
      const told = say("What you typed here on %(when)s and did not save is filled in again. Check it, then save.", { when: when(draft.at) });
      const box = note(form, [told], button);
      button.addEventListener("click", () => {
        localStorage.removeItem(key);
        form.reset();
        freshen(form);
        form.dispatchEvent(new Event("change", { bubbles: true }));
        box.remove();
        form.querySelector("input[type=text]")?.focus();
      });
    }
    form.addEventListener("input", () => {
      if (gist(pairsOf(form)) === untouched) localStorage.removeItem(key);
      else keep(form);
    });
    form.addEventListener("submit", () => sessionStorage.setItem("sent", key));
  }

  // A form that the browser sends by itself was saved if the answer leads on to a page of this person's.
  // Without an answer, when refused, and when a sign-in came between, its draft stays.
  const [visit] = performance.getEntriesByType("navigation");
  const sent = sessionStorage.getItem("sent");
  if (sent && person && !kept && visit?.type === "navigate" && visit.redirectCount) localStorage.removeItem(sent);
  sessionStorage.removeItem("sent");

  for (const key of Object.keys(localStorage))
    if (key.startsWith("draft ") && Date.now() - JSON.parse(localStorage.getItem(key)).at > longestMs)
      localStorage.removeItem(key);

  // After htmx has found the forms, so that filling one in asks for its preview.
  if (person)
    document.addEventListener("DOMContentLoaded", () => document.querySelectorAll("form[data-enter-moves]").forEach(watch));

  return {
    say, sayCount, make, when, note, fill, refused, keep,
    has: (form) => localStorage.getItem(keyOf(form)) !== null,
    forget: (form) => localStorage.removeItem(keyOf(form)),
  };
})();
