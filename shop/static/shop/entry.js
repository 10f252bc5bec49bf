// In a form of readings, Enter moves to the next box (gauges that type end with it); Ctrl+Enter saves.
"use strict";
document.addEventListener("keydown", (event) => {
  const form = event.target.closest("form[data-enter-moves]");
  if (!form || event.key !== "Enter" || event.target.tagName !== "INPUT") return;
  if (event.ctrlKey || event.metaKey) {
    form.requestSubmit();
    return;
  }
  event.preventDefault();
  // Only boxes for figures: a list or a tick between two readings must not swallow the next one.
  const boxes = [...form.querySelectorAll("input[type=text], button.first")].filter(
    (box) => box.checkVisibility() && !box.disabled, // not what a closed "More" hides
  );
  const next = boxes[boxes.indexOf(event.target) + 1];
  if (next) {
    next.focus();
    if (next.select) next.select();
  }
});

// What was typed and not saved outlives a stray tap: it is kept in this tab until the form is sent.
const draftKey = `draft ${location.pathname}`;
const figures = (form) => [...form.querySelectorAll("input[type=text], textarea")];
document.addEventListener("DOMContentLoaded", () => {
  const form = document.querySelector("form[data-enter-moves]");
  if (!form) return;
  const kept = JSON.parse(sessionStorage.getItem(draftKey) || "{}");
  const refused = form.querySelector(".errorlist");
  if (!refused && Object.keys(kept).length) {
    for (const box of figures(form)) if (kept[box.name]) box.value = kept[box.name];
    const note = document.createElement("p");
    note.className = "note";
    note.textContent = "What you had typed here before is filled in again. Check it, then save.";
    form.prepend(note);
  }
  form.addEventListener("input", () => {
    const typed = Object.fromEntries(figures(form).map((box) => [box.name, box.value]));
    sessionStorage.setItem(draftKey, JSON.stringify(typed));
  });
  form.addEventListener("submit", () => sessionStorage.removeItem(draftKey));
});
