// Our own small script; every page works without it.
// It blanks an answer at the first keystroke, asks again when a field is left, and clears an unused page.
"use strict";

document.documentElement.classList.add("scripted"); // hides the buttons that only a page without it needs

const form = document.querySelector("form[data-live]");
const chooses = document.querySelector("form[data-choices]");
const answer = document.getElementById("answer");
let turn = 0; // an answer to anything but the form as it stands now is thrown away

function blank() {
  turn += 1;
  if (answer && answer.childNodes.length) {
    answer.replaceChildren();
  }
}

async function ask(pressed) {
  blank();
  const mine = turn;
  const fields = new URLSearchParams(new FormData(form));
  if (pressed) {
    fields.set("pressed", "check");
  }
  let html;
  try {
    const told = await fetch(form.dataset.live, { method: "POST", body: fields, headers: { "X-Dosecheck-Part": "answer" } });
    html = await told.text();
    if (!told.ok) {
      html = new DOMParser().parseFromString(html, "text/html").querySelector("main").innerHTML;
    }
  } catch {
    html = "<section class='outcome not-checked'><h2>NOT CHECKED</h2><p>The page cannot reach dosecheck. This is not an all-clear.</p></section>";
  }
  if (mine !== turn) {
    return;
  }
  answer.innerHTML = html;
  if (pressed) {
    answer.scrollIntoView();
  }
}

async function choices(name) {
  const told = await fetch(`${chooses.dataset.choices}?medicine=${encodeURIComponent(name)}`);
  if (told.ok && chooses.elements.medicine.value === name) {
    document.getElementById("choices").innerHTML = await told.text();
  }
}

// What is typed whole ("2 st 3 lb", "3 times a day") lifts the unit, or the words, that are pressed beside it.
function lift(field) {
  if (field.name === "every_typed" && field.value.trim()) {
    document.getElementById("every-typed").checked = true;
  } else if (/[a-z]/i.test(field.value)) {
    for (const each of field.form.querySelectorAll(`input[name="${field.name}_unit"]:checked`)) {
      each.checked = false;
    }
  }
}
document.addEventListener("input", (event) => lift(event.target), true);

if (form && answer) {
  form.addEventListener("input", blank);
  form.addEventListener("change", async (event) => {
    blank();
    if (event.target.name === "medicine") {
      await choices(event.target.value);
    }
    ask(false);
  });
  form.addEventListener("submit", (event) => {
    event.preventDefault();
    ask(true);
  });
}

if (chooses && !form) {
  chooses.elements.medicine.addEventListener("change", (event) => choices(event.target.value));
}

// Waiting for the second person: looks every three seconds, and goes on when there is something to see.
const waiting = document.querySelector("a[data-wait]");
if (waiting) {
  setInterval(async () => {
    const told = await fetch(waiting.href).catch(() => null);
    if (told && !(told.ok && (await told.text()).includes("data-wait"))) {
      location.replace(waiting.href);
    }
  }, 3000);
}

// A page left alone clears itself, so that one child's figures never wait for the next.
const seconds = Number(document.body.dataset.clearAfter);
let idle;
function wake() {
  clearTimeout(idle);
  idle = setTimeout(() => location.replace(document.body.dataset.clearTo), seconds * 1000);
}
for (const kind of ["input", "keydown", "pointerdown", "scroll"]) {
  addEventListener(kind, wake, { passive: true });
}
wake();
// A page that the browser kept in its memory comes back empty.
addEventListener("pageshow", (event) => {
  if (event.persisted) {
    location.reload();
  }
});
