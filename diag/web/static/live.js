// What a page without scripts does in another way: nothing here is needed to enter or to read anything.
"use strict";

(() => {
  const whole = { target: "#screen", select: "#screen", swap: "outerMorph" };
  let stream = null;
  let watched = "";
  const newest = {};  // of each case the newest revision that this page has heard of
  let writing = 0;  // entries of this page that are under way: the case moves by these, too

  // The number pad: keys write into the field of their form.
  const showPads = () => document.querySelectorAll("[data-keys][hidden]").forEach((pad) => pad.removeAttribute("hidden"));
  document.addEventListener("click", (event) => {
    const key = event.target.closest("[data-key]");
    if (!key) return;
    const field = key.closest("form").querySelector("[name=value]");
    const pressed = key.dataset.key;
    if (pressed === "back") field.value = field.value.slice(0, -1);
    else if (pressed === "-") field.value = field.value.startsWith("-") ? field.value.slice(1) : "-" + field.value;
    else if (pressed !== "." || !field.value.includes(".")) field.value += pressed;
  });

  // Sliders say their number while they are moved.
  document.addEventListener("input", (event) => {
    const shown = event.target.id && document.querySelector(`output[for="${CSS.escape(event.target.id)}"]`);
    if (shown) shown.textContent = event.target.value;
    if (event.target.dataset.unit) event.target.setAttribute("aria-valuetext", `${event.target.value} ${event.target.dataset.unit}`);
  });

  // What a hand has unfolded stays so when the page changes under it; else the focus within would be lost.
  let unfolded = [];
  document.addEventListener("htmx:before:swap", () => {  // a second one may come before the first has settled
    const open = [...document.querySelectorAll("details[open][id]")].map((fold) => fold.id);
    unfolded = [...new Set([...unfolded, ...open])];
  });
  // What the focus stands in, from the inside: kept as it moves, for what is taken away tells nobody, and changes overlap.
  let around = [];
  document.addEventListener("pointerdown", () => { around = []; });  // who touches an empty place wants it nowhere
  document.addEventListener("focusin", (event) => {
    around = [];
    for (let at = event.target; at && at !== document.body; at = at.parentElement) if (at.id) around.push(at.id);
  });
  // Where what had the focus is gone, the nearest around it that is left has it: nobody is sent back to the top. A fold
  // has it in its summary; what the page itself does not make so would lose it with the next change.
  const refocus = () => {
    if (document.activeElement && document.activeElement !== document.body) return;
    const all = around.map((id) => document.getElementById(id)).filter(Boolean);
    const left = all.map((each) => (each.matches("details") ? each.querySelector("summary") : each));
    const next = left.find((each) => each.tabIndex >= 0 || each.hasAttribute("tabindex"));
    if (next) next.focus({ preventScroll: true });
  };
  // From what is hidden a browser takes the focus only when it draws next: so it is looked for then, too.
  const refocusSoon = () => {
    refocus();
    requestAnimationFrame(() => requestAnimationFrame(refocus));
  };
  const unfold = () => {
    for (const id of unfolded.splice(0)) {
      const fold = document.getElementById(id);
      if (fold) fold.open = true;
    }
  };

  // When somebody else wrote to the case, the page is asked for again, and only what is different changes. A page that
  // is not seen lets go of its stream: browsers hold few to one house, and the next tab would wait for ever.
  const watch = () => {
    const shown = document.getElementById("case");
    const number = shown && !document.hidden ? shown.dataset.case : "";
    if (number === watched) return;
    if (stream) stream.close();
    watched = number;
    stream = number ? new EventSource(`/case/${number}/live`) : null;
    if (stream) stream.addEventListener("moved", (event) => renew(Number(event.data)));
    if (stream) stream.addEventListener("open", reached);
  };
  const hear = (number, revision) => {
    newest[number] = Math.max(newest[number] || 0, revision);
  };
  // An answer that took long may be of an earlier state than the page that it would replace: then it is asked again.
  const current = () => {
    const shown = document.getElementById("case");
    if (!shown) return;
    hear(shown.dataset.case, Number(shown.dataset.revision));
    if (Number(shown.dataset.revision) < newest[shown.dataset.case] && !isRefused()) fetchAgain();
  };
  // Where an entry was refused, why and what was typed stand there until the hand goes on.
  const isRefused = () => Boolean(document.querySelector("#screen [data-refused]"));
  const fetchAgain = () => {
    const page = new URL(location.href);
    page.searchParams.delete("said");
    return window.htmx.ajax("GET", page.pathname + page.search, whole);
  };
  const renew = (revision) => {
    const shown = document.getElementById("case");
    if (shown) hear(shown.dataset.case, revision);
    if (!shown || writing > 0 || isRefused() || Number(shown.dataset.revision) >= revision) return;
    const before = wrote;
    fetchAgain().then(() => {
      others = before;
      sayMoved();
    });
  };
  // What somebody else wrote is said, and once more with what is believed now where that comes after the page.
  let others = null;  // how many entries of this page had their answer when somebody else's came; null: all is said
  const sayMoved = () => {
    const [now, told] = [document.getElementById("case"), document.getElementById("told")];
    if (others !== wrote) others = null;  // what was written here meanwhile has its own words
    if (others === null || !now || !told) return;
    const line = document.createElement("p");
    line.textContent = `${now.dataset.moved} ${now.dataset.likeliest}`.trim();
    told.replaceChildren(line);
    if (now.dataset.likeliest || !document.querySelector("#screen [aria-busy=true]")) others = null;
  };

  // What this page writes itself comes back by the stream, often before the answer does: that is nobody else's.
  const writes = (event) => (event.detail?.ctx?.request?.method || "").toUpperCase() === "POST";
  // One entry goes after the other (`hx-sync`): what waited stands on the page as the answer before it left it.
  const follow = ({ sourceElement, request }) => {
    const on = sourceElement?.isConnected && sourceElement.querySelector?.("[name=on]");
    if (on && request.body?.has?.("on")) request.body.set("on", on.value);
  };
  let [wrote, refusals] = [0, 0];  // answers to what was written here, and those that refused it
  document.addEventListener("htmx:before:request", (event) => {
    if (writes(event)) {
      writing += 1;
      follow(event.detail.ctx);
    } else event.detail.ctx.before = [wrote, refusals];
  });
  // A page that was asked for before such an answer would show what was before it, and take its words away.
  document.addEventListener("htmx:before:response", (event) => {
    const { ctx } = event.detail;
    if (writes(event)) {
      wrote += 1;
      refusals += ctx.response.status >= 400 ? 1 : 0;
    } else if (ctx.target?.id === "screen" && ctx.before) {
      const same = new URL(ctx.request.action, location.href).pathname === location.pathname;
      if (ctx.before[1] !== refusals || (same && ctx.before[0] !== wrote)) event.preventDefault();
    }
  });
  // What was taken does not stand in its field any longer, as if it were still to be taken; what was typed since does.
  const emptied = ({ sourceElement, request, response }) => {
    const form = sourceElement?.closest?.("form");
    if (!form || !(response?.status < 400)) return;
    for (const field of form.querySelectorAll("input:not([type=hidden])"))
      if (field.type === "checkbox") field.checked = field.defaultChecked;
      else if (request.body?.get?.(field.name) === field.value) field.value = field.defaultValue;
  };
  document.addEventListener("htmx:finally:request", (event) => {
    if (event.detail?.ctx?.text !== undefined && (writes(event) || lost === "page")) {
      tellLost("");
      lost = "";
      answered += 1;
    }
    if (!writes(event)) return;
    writing = Math.max(0, writing - 1);
    emptied(event.detail.ctx);
    refocusSoon();
    current();
  });

  // An entry that did not get through would be lost without a sign: that is told over the page until one does.
  let answered = 0;  // entries that had an answer
  let lost = "";  // what has not got through: an entry, or what the page asked for itself
  const tellLost = (words, link = "") => {
    const line = document.createElement("p");
    line.className = "caution";
    line.setAttribute("role", "alert");
    line.textContent = words;
    if (link) {
      const way = Object.assign(document.createElement("a"), { href: "/pair", target: "_blank", textContent: link });
      way.className = "button";
      line.append(" ", way);
    }
    document.getElementById("unreached")?.replaceChildren(...(words ? [line] : []));
  };
  const lose = (what) => {
    lost = what;
    document.getElementById("told")?.replaceChildren();
    tellLost(document.getElementById("unreached")?.dataset.lost);
  };
  // A device that is not let in any longer keeps its page and what was typed: the code is typed on a page of its own.
  const shutOut = () => {
    const place = document.getElementById("unreached");
    if (lost !== "shut") tellLost(place?.dataset.shut, place?.dataset.pair);  // said once, however often the page asks
    lost = "shut";
    document.getElementById("told")?.replaceChildren();
  };
  document.addEventListener("htmx:before:response", (event) => {
    if (event.detail.ctx.response.status !== 401) return;
    event.preventDefault();
    shutOut();
  });
  document.addEventListener("htmx:error", (event) => {
    const asked = event.detail?.ctx;
    if (!asked || asked.text !== undefined || lost === "shut") return;  // there was an answer
    const from = asked.sourceElement;
    if (from?.matches?.("[aria-busy]")) from.replaceWith(from.cloneNode(true));  // one that is new asks once more
    lose(lost === "entry" || writes(event) ? "entry" : "page");
  });
  const reached = () => {
    if (!lost) return;
    const [was, before] = [lost, answered];
    lost = "";
    // What stands there once the page has come anew is what was taken; an entry before that has its own answer.
    Promise.resolve(isRefused() || fetchAgain()).then(() => {
      if (lost) lost = was;
      else if (answered === before) tellLost(was !== "page" ? document.getElementById("unreached")?.dataset.back : "");
    });
  };
  window.addEventListener("online", () => reached());  // the stream may have outlived a network that was gone for a moment

  // A form that is sent leads to its page anew: what was typed into the others and not sent yet is put back there.
  const UNSENT = "unsent";
  const ticks = (field) => /^(checkbox|radio)$/.test(field.type);
  const fieldsOf = (form) => [...form.elements].filter((field) => /^(INPUT|SELECT|TEXTAREA)$/.test(field.tagName) && !/^(hidden|file)$/.test(field.type));
  const isTyped = (field) => {
    if (ticks(field)) return field.checked !== field.defaultChecked;
    if (!field.options) return field.value !== field.defaultValue;
    return field.selectedIndex !== Math.max(0, [...field.options].findIndex((each) => each.defaultSelected));
  };
  const plainForms = () => [...document.querySelectorAll("#screen form[method=post]:not([hx-post])")];
  const keepUnsent = (sent) => {
    const kept = [];
    for (const form of plainForms().filter((each) => each !== sent))
      fieldsOf(form).forEach((field, at) => {
        if (isTyped(field)) kept.push([form.action, at, field.name, ticks(field) ? field.checked : field.value]);
      });
    sessionStorage.setItem(UNSENT, JSON.stringify(kept));
  };
  const putBack = () => {
    const kept = JSON.parse(sessionStorage.getItem(UNSENT) || "[]");
    sessionStorage.removeItem(UNSENT);
    for (const [action, at, name, value] of kept)
      for (const form of plainForms().filter((each) => each.action === action)) {
        const field = fieldsOf(form)[at];
        if (!field || field.name !== name || field.disabled) continue;
        if (ticks(field)) field.checked = value;
        else field.value = value;
        for (let fold = field.closest("details"); fold; fold = fold.parentElement.closest("details")) fold.open = true;
      }
  };
  document.addEventListener("DOMContentLoaded", putBack);

  // A form that is under way is not sent once more by a second touch; one that waits long may be. With a form that leads
  // to another page what was typed would be lost where nobody answers: so it goes once diag was heard of.
  const PATIENCE_MS = 10000;
  let underWay = new WeakMap();
  const heard = new WeakSet();  // forms that may go now
  // Whether it answers, and lets this device in: then the page for the code leads on to the cases.
  const letsIn = () => fetch("/pair", { redirect: "manual", cache: "no-store", signal: AbortSignal.timeout(PATIENCE_MS) })
    .then((answer) => answer.type === "opaqueredirect");
  document.addEventListener("submit", (event) => {
    const [form, button] = [event.target, event.submitter];
    if (form.method !== "post" || form.hasAttribute("hx-post") || heard.delete(form)) return;
    event.preventDefault();
    if (Date.now() - (underWay.get(form) || 0) < PATIENCE_MS) return;
    underWay.set(form, Date.now());
    goes(form, button);
    const stays = (tell) => {
      underWay.delete(form);
      came(form);
      tell();
    };
    letsIn().then((does) => {
      if (!does && new URL(form.action).pathname !== "/pair") return stays(shutOut);
      heard.add(form);
      keepUnsent(form);
      form.requestSubmit(button?.form === form ? button : null);
    }, () => stays(() => lose("entry")));
  });
  window.addEventListener("pageshow", () => { underWay = new WeakMap(); });

  // Where an answer takes its time, the button that was touched is marked, and a line over the page says so: nothing
  // moves, and what is quick shows nothing.
  const SLOW_MS = 400;
  const touched = new Map();  // what was touched by what it belongs to: a form, or the link itself
  let slow = 0;
  const showUnderWay = () => {
    for (const each of touched.values()) each.setAttribute("aria-busy", "true");
    const line = document.getElementById("under-way");
    if (line) line.textContent = line.dataset.words;
  };
  const goes = (of, button) => {
    if (!button) return;
    touched.set(of, button);
    clearTimeout(slow);
    slow = setTimeout(showUnderWay, SLOW_MS);
  };
  const came = (of) => {
    touched.get(of)?.removeAttribute("aria-busy");
    touched.delete(of);
    if (touched.size > 0) return;
    clearTimeout(slow);
    document.getElementById("under-way")?.replaceChildren();
  };
  const pressed = [];  // forms that were sent, and by which button; one may wait for the answer before it
  document.addEventListener("submit", (event) => { pressed.push({ form: event.target, button: event.submitter }); }, true);
  document.addEventListener("submit", (event) => {
    if (!event.defaultPrevented) goes(event.target, event.submitter);
  });
  document.addEventListener("htmx:before:request", (event) => {
    const from = event.detail?.ctx?.sourceElement;
    const first = pressed.findIndex((each) => each.form === from);
    if (first >= 0) goes(from, pressed.splice(first, 1)[0].button);
    if (event.detail?.ctx) event.detail.ctx.from = from;  // where the answer took it away, htmx names another source
  });
  document.addEventListener("htmx:finally:request", (event) => came(event.detail?.ctx?.from));
  document.addEventListener("click", (event) => {
    const link = event.target.closest("a.button[href], a.card[href], .engine a[href], .places a[href]");
    if (!link || event.defaultPrevented || event.button || event.ctrlKey || event.metaKey || event.shiftKey) return;
    const to = new URL(link.getAttribute("href"), location.href);  // `href` of a link in a picture is no text
    // A file is kept or shown by the browser, which says so itself.
    if (!/\.[a-z]+$/.test(to.pathname) && (to.pathname !== location.pathname || !to.hash)) goes(link, link);
  });
  window.addEventListener("pageshow", () => [...touched.keys()].forEach(came));

  // Picked colours and what was said do not stay in the address.
  const tidy = () => {
    const page = new URL(location.href);
    if (!page.searchParams.has("said")) return;
    page.searchParams.delete("said");
    history.replaceState(history.state, "", page.pathname + page.search);
  };

  // The next checks come after the page: that they are there is said once, for those who do not see it.
  let awaited = false;
  const sayNext = () => {
    const next = document.querySelector("section[id^='next-']");
    const told = document.getElementById("told");
    const verdict = next && !next.hasAttribute("aria-busy") && next.querySelector(".first");
    if (awaited && verdict && told) {
      const line = document.createElement("p");
      line.className = "unseen";
      line.textContent = `${next.querySelector("h2").textContent}: ${verdict.textContent}`;
      told.append(line);
    }
    awaited = Boolean(next && next.hasAttribute("aria-busy"));
  };

  const settled = () => {
    unfold();
    refocusSoon();
    sayMoved();
    sayNext();
    showPads();
    watch();
    tidy();
    current();
  };
  // What became of a form stands on the page that it led to from its first moment, and would not be read out: a screen
  // reader says what is put there afterwards.
  const SETTLED_MS = 500;
  const sayTold = () => {
    const told = document.getElementById("told");
    told?.replaceChildren(...[...told.children].map((line) => line.cloneNode(true)));
  };
  document.addEventListener("DOMContentLoaded", () => setTimeout(sayTold, SETTLED_MS));
  document.addEventListener("DOMContentLoaded", settled);
  document.addEventListener("htmx:after:swap", settled);
  window.addEventListener("pageshow", settled);
  document.addEventListener("visibilitychange", watch);
})();
