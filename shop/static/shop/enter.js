// In a form of readings, Enter moves to the next box (gauges that type end with it); Ctrl+Enter saves.
// Loaded before the page is drawn: a gauge that is quicker than the page must not save half a check-in.
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
