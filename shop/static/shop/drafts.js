// What was typed and not saved outlives a stray tap: it is kept in this tab until the form is sent.
"use strict";
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
