// A check-in is put into the outbox on this device before it is sent, and leaves it when the server has it.
"use strict";
window.outbox = (() => {
  const { drafts } = window;
  const { say, sayCount, make, when } = drafts;
  const { person, name, worker, pass, waiting, signIn, kept } = document.body.dataset;
  const patienceMs = 20000; // then the answer counts as lost; the form's number makes a second try safe
  const againMs = 30000;
  const byId = (id) => document.getElementById(id);

  // The store
  const opened = new Promise((done, failed) => {
    const asked = indexedDB.open("saddleroom", 1);
    asked.onupgradeneeded = () => asked.result.createObjectStore("outbox", { keyPath: "uuid" });
    asked.onsuccess = () => done(asked.result);
    asked.onerror = () => failed(asked.error);
  });
  opened.catch(() => {}); // whoever uses it hears of it
  const using = async (mode, act) => {
    const transaction = (await opened).transaction("outbox", mode, { durability: "strict" });
    const asked = act(transaction.objectStore("outbox"));
    return new Promise((done, failed) => {
      transaction.oncomplete = () => done(asked.result);
      transaction.onabort = () => failed(transaction.error);
    });
  };
  const get = (uuid) => using("readonly", (store) => store.get(uuid));
  const put = (entry) => using("readwrite", (store) => store.put(entry));
  const remove = (uuid) => using("readwrite", (store) => store.delete(uuid));
  const all = async () => (await using("readonly", (store) => store.getAll())).sort((a, b) => a.at - b.at);

  // Sending. Never fails: says how it went, and why in words for a person. `stop`: no use trying the next one.
  async function deliver(entry) {
    const answered = (state, why, more) => ({ state, why: [why].flat(), reached: true, ...more });
    const ended = answered("waiting", say("Your sign-in has ended. Sign in again; nothing is lost."), { ended: true, stop: true });
    const options = () => ({ redirect: "manual", cache: "no-store", signal: AbortSignal.timeout(patienceMs) });
    try {
      const asked = await fetch(pass, options());
      if (asked.type === "opaqueredirect") return ended;
      const { person: now, token } = await asked.json();
      if (now !== entry.person) return answered("waiting", say("It is sent when %(name)s signs in on this device.", entry));
      const body = new FormData();
      for (const [field, value] of entry.pairs) body.append(field, value);
      const ago = String(Math.max(0, Math.round((Date.now() - entry.at) / 1000)));
      const headers = { "X-CSRFToken": token, "X-Outbox": "1", "X-Saved-Seconds-Ago": ago };
      const reply = await fetch(entry.path, { ...options(), method: "POST", body, headers });
      const { status } = reply;
      if (reply.type === "opaqueredirect") return ended;
      if (reply.ok) return answered("saved", [], { address: new URL((await reply.json()).saved, location.href).pathname });
      if (status === 422) return answered("refused", (await reply.json()).errors, { token });
      if (status >= 500 || status === 429)
        return answered("waiting", say("The server is in trouble (%(status)s). It is tried again by itself.", { status }));
      const known = { 403: say("Your sign-in may not save check-ins."), 404: say("The shop no longer has this instrument or check-in.") };
      return answered("refused", known[status] || say("The server refused it (%(status)s).", { status }));
    } catch {
      return { state: "waiting", why: [say("No connection to the shop's server. It is sent when the connection is back.")], stop: true };
    }
  }

  // Sends what waits, oldest first; with a number that one, refused before or not.
  async function sendThose(uuid) {
    const saved = [];
    for (const entry of person && (navigator.onLine || !kept) ? await all() : []) {
      if (uuid ? entry.uuid !== uuid : entry.state === "refused" || entry.person !== person) continue;
      document.dispatchEvent(new CustomEvent("outbox", { detail: entry.uuid }));
      const { state, why, address, stop } = await deliver(entry);
      if (state === "saved") {
        await remove(entry.uuid);
        saved.push(make("a", { href: address }, entry.title));
      } else if (await get(entry.uuid)) await put({ ...entry, state, why }); // unless thrown away meanwhile
      if (stop) break;
    }
    for (const link of saved) byId("main").prepend(make("p", { className: "note good", role: "status" }, say("Sent and saved:"), " ", link));
    await show();
    return saved.length;
  }
  let last = Promise.resolve();
  const send = (uuid) => (last = last.then(() => sendThose(uuid)).catch(() => 0)); // one after the other

  async function show() {
    const entries = await all();
    const refused = entries.filter((entry) => entry.state === "refused").length;
    const link = byId("waiting-link");
    if (link) {
      link.hidden = !entries.length;
      const n = entries.length;
      link.textContent = refused ? say("%(n)s waiting, %(refused)s refused", { n, refused }) : say("%(n)s waiting", { n });
    }
    document.dispatchEvent(new CustomEvent("outbox"));
  }

  // A question with two buttons; Escape and the first mean no.
  function ask(title, words, list, no, yes) {
    const heading = make("h2", { id: "ask-title" }, title);
    const buttons = [make("button", { className: "first", value: "no", autofocus: true }, no), make("button", { value: "yes" }, yes)];
    const form = make("form", { method: "dialog", className: "actions" }, ...buttons);
    const box = make("dialog", { ariaModal: "true" }, heading, make("p", {}, words), make("ul", {}, ...list.map((text) => make("li", {}, text))), form);
    box.setAttribute("aria-labelledby", "ask-title");
    document.body.append(box);
    box.showModal();
    return new Promise((done) =>
      box.addEventListener("close", () => {
        box.remove();
        done(box.returnValue === "yes");
      }));
  }

  // What was filled in, with its labels, for whoever looks at what waits.
  function readingsOf(form) {
    const text = (element) => element?.textContent.trim() || "";
    const boxes = [...form.elements].filter((box) => box.value && box.matches("input[type=text], input[type=date], textarea, :checked:not(option)"));
    return boxes.map((box) => {
      if (box.type === "radio") return [text(box.closest("fieldset").querySelector("legend")), text(box.labels[0])];
      return [text(box.labels[0]), box.type === "checkbox" ? say("yes") : box.value];
    });
  }

  // The check-in form
  async function save(form) {
    const uuid = form.elements.uuid.value;
    const before = await get(uuid); // one being mended was measured when it was first saved
    const pairs = [...new FormData(form)].filter(([field]) => field !== "csrfmiddlewaretoken");
    const entry = {
      uuid, person, name, path: form.getAttribute("action") || location.pathname, title: form.dataset.outbox,
      at: before ? before.at : Date.now(), pairs, readings: readingsOf(form), state: "waiting", why: [],
    };
    await put(entry);
    drafts.forget(form);
    const answer = await deliver(entry);
    const { state, why, token } = answer;
    if (token) {
      // The server shows the form again with what is wrong; until that is mended the draft keeps it.
      await (before ? put({ ...entry, state, why }) : remove(uuid));
      drafts.keep(form);
      form.elements.csrfmiddlewaretoken.value = token;
      return form.submit();
    }
    await (state === "saved" ? remove(uuid) : put({ ...entry, state, why }));
    if (state === "saved") return location.assign(answer.address);
    navigator.storage?.persist?.(); // asks the browser not to tidy it away
    if (answer.ended) return location.assign(`${signIn}?next=${waiting}`);
    if (answer.reached || navigator.serviceWorker?.controller) return location.assign(waiting);
    drafts.note(form, [...why, say("The check-in is kept on this device.")]);
    form.hidden = true;
    return show();
  }

  async function watch(form) {
    let sending = false;
    form.addEventListener("submit", (event) => {
      if (event.submitter?.name) return; // a button that only asks
      event.preventDefault();
      if (!sending) save(form).catch(() => form.submit()); // no room or no store: then as without script
      sending = true;
      form.querySelector("button.first").textContent = say("Saving…");
    });
    // What was said of the earlier figures goes, so that it is not taken for an answer to these.
    document.body.addEventListener("htmx:sendError", (event) => {
      const field = event.detail.requestConfig?.triggeringEvent?.target?.closest?.(".field");
      for (const said of [field?.querySelector(".understood"), byId("preview"), byId("preview-options")]) said?.replaceChildren();
      byId("preview-summary")?.replaceChildren(say("No connection: save all the same. The figures are checked when they are sent."));
    });
    if (kept)
      drafts.note(form, [
        say("No connection. This form was kept on this device on %(when)s; it does not know what was measured or done since.", { when: when(kept) }),
        say("Save as usual: the check-in waits here and is sent when the connection is back."),
      ]);
    const mending = location.hash.startsWith("#mend-") && !drafts.refused(form) && (await get(location.hash.slice(6)));
    if (!mending || mending.person !== person) return;
    if (!drafts.has(form)) drafts.fill(form, mending.pairs);
    drafts.note(form, [say("Saved on this device on %(when)s; the shop's server does not have it.", { when: when(mending.at) }), ...mending.why]);
  }

  // At sign-out the device forgets what this person saved on it, but not before saying what would be lost.
  async function leave(form) {
    await send();
    const entries = (await all()).filter((entry) => entry.person === person);
    const list = entries.map((entry) => say("%(title)s, saved here on %(when)s", { title: entry.title, when: when(entry.at) }));
    const title = sayCount(entries.length, "%(n)s check-in has not reached the shop's server", "%(n)s check-ins have not reached the shop's server");
    const words = say("On this device only. Signing out throws away:");
    if (entries.length && !(await ask(title, words, list, say("Stay signed in"), say("Sign out and lose this")))) return;
    for (const { uuid } of entries) await remove(uuid);
    localStorage.setItem("leaving", person); // without a connection the server hears of it later
    form.submit();
  }

  async function begin() {
    const entries = await all();
    if (!person && entries.length) {
      const words = sayCount(
        entries.length,
        "%(n)s check-in waits on this device. Nothing is lost: what is yours is sent once you are signed in and the connection is back.",
        "%(n)s check-ins wait on this device. Nothing is lost: what is yours is sent once you are signed in and the connection is back.",
      );
      byId("main").prepend(make("p", { className: "note warn" }, words));
    }
    if (person) addEventListener("online", () => send());
    if (person) setInterval(async () => (await all()).length && send(), againMs);
    await (entries.length ? send() : show());
  }

  const form = document.querySelector("form[data-outbox]");
  const out = byId("sign-out");
  if (worker) navigator.serviceWorker?.register(worker).catch(() => {}); // without it forms need a connection
  if (form) document.addEventListener("DOMContentLoaded", () => watch(form));
  out?.addEventListener("submit", (event) => {
    event.preventDefault();
    leave(out).catch(() => out.submit());
  });
  if (!person && !kept) localStorage.removeItem("leaving");
  if (person && !kept && localStorage.getItem("leaving") === person) out.submit();
  else begin().catch(() => {}); // no store on this device: everything is sent at once
  return { all, remove, send, show, ask };
})();
