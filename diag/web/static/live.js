// What a page without scripts does in another way: nothing here is needed to enter or to read anything.
"use strict";

(() => {
  const whole = { target: "#screen", select: "#screen", swap: "outerMorph" };
  let stream = null;
  let watched = "";

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
  });

  // When somebody else wrote to the case, the page is asked for again, and only what is different changes.
  const watch = () => {
    const shown = document.getElementById("case");
    const number = shown ? shown.dataset.case : "";
    if (number === watched) return;
    if (stream) stream.close();
    watched = number;
    stream = number ? new EventSource(`/case/${number}/live`) : null;
    if (stream) stream.addEventListener("moved", (event) => renew(Number(event.data)));
  };
  const renew = (revision) => {
    const shown = document.getElementById("case");
    if (!shown || Number(shown.dataset.revision) >= revision) return;
    const page = new URL(location.href);
    page.searchParams.delete("said");
    const plain = page.pathname + page.search;
    window.htmx.ajax("GET", plain, whole).then(() => {
      const now = document.getElementById("case");
      const told = document.getElementById("told");
      if (now && told && now.dataset.moved) told.innerHTML = "";
      if (now && told) {
        const line = document.createElement("p");
        line.textContent = now.dataset.moved;
        told.replaceChildren(line);
      }
    });
  };

  // Picked colours and what was said do not stay in the address.
  const tidy = () => {
    const page = new URL(location.href);
    if (!page.searchParams.has("said")) return;
    page.searchParams.delete("said");
    history.replaceState(history.state, "", page.pathname + page.search);
  };

  const settled = () => {
    showPads();
    watch();
    tidy();
  };
  document.addEventListener("DOMContentLoaded", settled);
  document.addEventListener("htmx:after:swap", settled);
  window.addEventListener("pageshow", settled);
})();
