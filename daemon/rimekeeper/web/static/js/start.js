import "./shell.js";
import { give } from "./give.js";
import { kitchen } from "./live.js";
import { h, show } from "./tree.js";

const place = (name) => document.getElementById(name);
const sheets = JSON.parse(place("data").textContent);
let chosen = null;

show(place("sheets"), sheets.length
  ? sheets.map((sheet) => h("label", { class: "choice" },
      h("input", { type: "radio", name: "sheet", value: sheet.id }),
      h("span", {}, sheet.name,
        h("small", {}, sheet.stages.map((stage) => stage.name).join(", ")),
        sheet.allergens.length ? h("small", {}, `Allergens: ${sheet.allergens.join(", ")}`) : null,
        sheet.note ? h("small", {}, sheet.note) : null)))
  : h("p", { class: "plain" }, "There is no batch sheet yet. Write one into the folder of sheets and start Rimekeeper again."));

function roles() {
  const free = kitchen.view.probes.filter((probe) => !probe.batch);
  show(place("roles"), chosen.roles.map((role) => h("div", {},
    h("label", { for: `role-${role.id}` }, role.name),
    h("small", {}, role.stages.join(", ")),
    h("select", { id: `role-${role.id}`, "data-role": role.id, required: true },
      h("option", { value: "" }, "Choose a probe"),
      free.map((probe) => h("option", { value: probe.id }, `${probe.name} (${probe.fresh ? probe.shown : probe.note})`))))));
}

place("sheets").addEventListener("change", (event) => {
  chosen = sheets.find((sheet) => sheet.id === event.target.value);
  place("roles-part").hidden = place("more-part").hidden = false;
  place("roles").replaceChildren();
  roles();
});

place("start-form").addEventListener("submit", async (event) => {
  event.preventDefault();
  const bindings = {};
  for (const select of place("roles").querySelectorAll("select")) bindings[select.dataset.role] = select.value;
  const used = Object.values(bindings);
  if (new Set(used).size !== used.length) {
    place("start-trouble").textContent = "One probe is chosen twice. Each role needs a probe of its own.";
    return;
  }
  place("start-trouble").textContent = "";
  const answer = await give({ command: "start", sheet: chosen.id, bindings, lot: place("lot").value, note: place("note").value });
  if (answer.accepted) location.href = "/";
  else place("start-trouble").textContent = answer.sentence;
});
