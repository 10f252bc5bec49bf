// The page of what waits on this device, and the page that stands in when there is no connection.
"use strict";
(() => {
  const { outbox } = window;
  const { say, make, when } = window.drafts;
  const { person, kept } = document.body.dataset;
  const list = document.getElementById("waiting");
  const status = document.getElementById("how-it-went");
  const sendNow = document.getElementById("send-now");
  const looks = { sending: [say("… Sending"), "unknown"], refused: [say("▲ Refused, not saved"), "overdue"], waiting: [say("○ Waiting to be sent"), "watch"] };

  function card(entry, sending) {
    const mine = entry.person === person; // another person's readings are not shown; that they wait is
    const [words, look] = looks[entry.uuid === sending ? "sending" : entry.state];
    const readings = mine ? entry.readings.flatMap(([label, value]) => [make("dt", {}, label), make("dd", {}, value)]) : [];
    const button = (act, text) => make("button", { type: "button", ariaLabel: `${text}: ${entry.title}`, value: act }, text);
    const open = say("Open in the form");
    const mend = make("a", { className: "button", href: `${entry.path}#mend-${entry.uuid}`, ariaLabel: `${open}: ${entry.title}` }, open);
    const item = make("li", { className: "option" },
      make("h2", {}, entry.title),
      make("p", { className: "soft" }, say("Saved here on %(when)s by %(name)s", { when: when(entry.at), name: entry.name })),
      make("p", { className: `state state-${look}` }, words),
      make("ul", { className: "why" }, ...entry.why.map((text) => make("li", {}, text))),
      make("dl", {}, ...readings),
      make("div", { className: "actions" }, ...(mine ? [button("send", say("Try again")), mend] : []), button("throw", say("Throw away"))));
    item.dataset.uuid = entry.uuid;
    return item;
  }

  async function show(sending) {
    const entries = await outbox.all();
    const held = document.activeElement?.closest("li[data-uuid]") && document.activeElement;
    const [uuid, act] = [held?.closest("li").dataset.uuid, held?.value];
    list.replaceChildren(...entries.map((entry) => card(entry, sending)));
    if (held) (list.querySelector(`[data-uuid="${uuid}"] [value="${act}"]`) || status).focus();
    sendNow.hidden = !entries.some((entry) => entry.person === person);
    if (!entries.length) status.textContent = say("Nothing waits: every check-in saved on this device has reached the server.");
  }

  async function send(uuid) {
    status.textContent = say("Sending…");
    const sent = await outbox.send(uuid);
    const left = (await outbox.all()).length;
    if (left) status.textContent = say("%(sent)s sent, %(left)s still here.", { sent, left });
  }

  async function throwAway(uuid) {
    const entry = (await outbox.all()).find((one) => one.uuid === uuid);
    const what = [say("%(title)s, saved here on %(when)s", { title: entry.title, when: when(entry.at) })];
    if (!(await outbox.ask(say("Throw this check-in away?"), say("It is on this device only and cannot be got back:"), what, say("Keep it"), say("Throw it away")))) return;
    await outbox.remove(uuid);
    await outbox.show();
    status.focus();
  }

  // The forms that the worker keeps.
  async function forms() {
    const names = (await caches.keys()).filter((name) => name.startsWith("saddleroom pages"));
    const keys = await Promise.all(names.map(async (name) => (await caches.open(name)).keys()));
    const paths = keys.flat().map((key) => new URL(key.url).pathname).filter((path) => path.endsWith("/check-in/"));
    document.getElementById("kept-forms").hidden = !paths.length;
    document.querySelector("#kept-forms ul").replaceChildren(...paths.sort().map((path) =>
      make("li", {}, make("a", { href: path, className: "button" }, decodeURIComponent(path.split("/").at(-3))))));
  }

  if (list) {
    document.addEventListener("outbox", ({ detail }) => show(detail));
    sendNow.addEventListener("click", () => send());
    list.addEventListener("click", ({ target }) => {
      const act = { send, throw: throwAway }[target.value];
      if (act) act(target.closest("li[data-uuid]").dataset.uuid);
    });
    show();
  }
  // A stand-in page fetched with the server there is nobody's, and says nothing.
  if (window.caches && (person || kept)) forms();
})();
