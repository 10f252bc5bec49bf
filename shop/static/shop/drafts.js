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
  const placeOf = (form) => `draft ${person} ${addressOf(form).toLowerCase()}`;
  const isNumber = (name) => /^(\w+-)?uuid$/.test(name);
  const numberBox = (form) => [...form.elements].find((box) => isNumber(box.name));
  // Each form as it was opened has a draft of its own, by its number: two tabs do not overwrite each other's.
  const keyOf = (form) => [placeOf(form), numberBox(form)?.value].filter(Boolean).join(" ");
  const read = (key) => JSON.parse(localStorage.getItem(key) || "null");
  // The drafts of a form's address, newest first.
  const keysAt = (place) =>
    Object.keys(localStorage)
      .filter((key) => key === place || key.startsWith(`${place} `))
      .sort((a, b) => read(b).at - read(a).at);
  // A form that was refused holds what was sent, and its own number: nothing is filled in over it.
  const refused = (form) => Boolean(form.querySelector(".errorlist, [role=alert]"));
  // Name and value of all that is filled in. Files stay out: a form cannot be given them back.
  const pairsOf = (form) =>
    [...new FormData(form)].filter(([name, value]) => name !== "csrfmiddlewaretoken" && typeof value === "string");
  const gist = (pairs) => JSON.stringify(pairs.filter(([name]) => !isNumber(name)));

  // randomUUID is there only over HTTPS; this is RFC 9562's version 4 by hand.
  function renumber(form) {
    const box = numberBox(form);
    if (!box) return;
    const bytes = crypto.getRandomValues(new Uint8Array(16));
    bytes[6] = (bytes[6] & 0x0f) | 0x40;
    bytes[8] = (bytes[8] & 0x3f) | 0x80;
    const hex = [...bytes].map((byte) => byte.toString(16).padStart(2, "0")).join("");
    box.value = hex.replace(/^(.{8})(.{4})(.{4})(.{4})/, "$1-$2-$3-$4-");
  }

  // The page may have been kept for days, or sent before and come back to, so the form's number and day are
  // made here. The number makes a form that is sent twice one check-in; a draft brings its own back.
  function freshen(form) {
    const { day } = form.elements;
    renumber(form);
    const now = new Date();
    if (kept && day) day.value = new Date(now - now.getTimezoneOffset() * 60000).toISOString().slice(0, 10);
  }

  function fill(form, pairs) {
    for (const box of form.elements) {
      const values = pairs.filter(([name]) => name === box.name).map(([, value]) => value);
      if (box.type === "radio" || box.type === "checkbox") box.checked = values.includes(box.value);
      else if (values.length && box.type !== "file" && (box.type !== "hidden" || isNumber(box.name))) {
        // An old date, or a box rarely used, is not filled in out of sight.
        if (box.value !== values[0] && box.closest("details")) box.closest("details").open = true;
        box.value = values[0];
      }
    }
    form.dispatchEvent(new Event("change", { bubbles: true })); // the preview follows
  }

  // The tab remembers which draft is its own: loaded again, it goes on with that, whatever others typed since.
  function keep(form) {
    localStorage.setItem(keyOf(form), JSON.stringify({ at: Date.now(), pairs: pairsOf(form) }));
    history.replaceState({ ...history.state, draft: keyOf(form) }, "");
  }

  // The tab's own draft is filled in, else the newest; the others wait for their turn.
  function offer(form, key, more) {
    const { at, pairs } = read(key);
    fill(form, pairs);
    const button = make("button", { type: "button" }, say("Throw it away, start afresh"));
    const told = [say("What you typed here on %(when)s and did not save is filled in again. Check it, then save.", { when: when(at) })];
    if (more) told.push(say("Something else typed here is kept too: it is filled in when you open this form after saving this or throwing it away."));
    const box = note(form, told, button);
    button.addEventListener("click", () => {
      localStorage.removeItem(keyOf(form));
      form.reset();
      freshen(form);
      form.dispatchEvent(new Event("change", { bubbles: true }));
      box.remove();
      form.querySelector("input[type=text]")?.focus();
    });
  }

  // A tab opened beside this one was filled in with the same draft. Whichever hears of the other's typing
  // goes on under a number of its own, so that neither overwrites the other.
  function part(form, found, taken) {
    if (taken) renumber(form);
    if (gist(pairsOf(form)) !== found) keep(form);
    const open = say("This form is open in another tab too, and something was typed there. What you type here is kept by itself; if both mean the same, save only one of them.");
    const gone = say("This form was saved or thrown away in another tab. Look there before you save it here.");
    note(form, [taken ? open : gone]);
  }

  function watch(form) {
    const untouched = refused(form) ? "" : gist(pairsOf(form));
    if (!refused(form)) {
      const keys = keysAt(placeOf(form));
      const own = keys.find((key) => key === history.state?.draft) || keys[0];
      freshen(form);
      if (own) offer(form, own, keys.length > 1);
    }
    const found = gist(pairsOf(form));
    form.addEventListener("input", () => {
      if (gist(pairsOf(form)) === untouched) localStorage.removeItem(keyOf(form));
      else keep(form);
    });
    form.addEventListener("submit", () => sessionStorage.setItem("sent", keyOf(form)));
    addEventListener("storage", ({ key, newValue }) => {
      if (key === keyOf(form)) part(form, found, newValue !== null);
    });
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

  // Of a form that is gone back to the browser brings back what was typed, and this its number, so that
  // sending it once more adds nothing twice.
  for (const box of document.querySelectorAll("input[data-of-visit]")) {
    const { number } = history.state || {};
    if (number) box.value = number;
    else history.replaceState({ ...history.state, number: box.value }, "");
  }

  // After htmx has found the forms, so that filling one in asks for its preview.
  if (person)
    document.addEventListener("DOMContentLoaded", () => document.querySelectorAll("form[data-enter-moves]").forEach(watch));

  return {
    say, sayCount, make, when, note, fill, refused, keep,
    has: (form) => localStorage.getItem(keyOf(form)) !== null,
    forget: (form) => localStorage.removeItem(keyOf(form)),
  };
})();
