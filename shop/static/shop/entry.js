// The check-in and work forms while they are filled: what the answers say, the hints, the first box to mend.
"use strict";
// A part of an answer that says what stands there already is left alone: nothing is read aloud twice.
document.addEventListener("htmx:oobBeforeSwap", (event) => {
  const { target, fragment } = event.detail;
  const words = (node) => node.textContent.replace(/\s+/g, " ").trim();
  if (fragment.querySelector("input")) return; // what stands in a box is no text
  if (words(target) === words(fragment)) event.detail.shouldSwap = false;
});

// What the answer says of a box also marks the box.
document.addEventListener("htmx:oobAfterSwap", (event) => {
  const field = event.detail.target.closest(".field.reading");
  if (!field) return;
  const wrong = field.querySelector(".understood .errorlist") !== null;
  field.classList.toggle("wrong", wrong);
  const box = field.querySelector("input[type=text]");
  if (wrong) box.setAttribute("aria-invalid", "true");
  else box.removeAttribute("aria-invalid");
});

// On a wide screen the hint for the box in use stands beside it, until someone closes the hints.
const hints = document.getElementById("hints");
const wide = matchMedia("(min-width: 60rem)");
if (hints) {
  const show = (box) => {
    const group = box && box.closest("[data-hint]");
    if (!wide.matches || hints.dataset.closed || !group) return;
    for (const hint of hints.querySelectorAll("[data-hint-for]")) {
      hint.hidden = hint.dataset.hintFor !== group.dataset.hint;
    }
    hints.open = true;
  };
  hints.querySelector("summary").addEventListener("click", () => {
    hints.dataset.closed = "yes";
    for (const hint of hints.querySelectorAll("[data-hint-for]")) hint.hidden = false;
  });
  document.addEventListener("focusin", (event) => show(event.target));
  show(document.activeElement);
}

// A refused form opens at the first box that wants a second look.
const refusedBox = document.querySelector("form[data-enter-moves] .wrong input:not([type=hidden])");
if (refusedBox) refusedBox.focus();
