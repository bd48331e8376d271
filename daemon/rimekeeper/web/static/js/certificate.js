import "./shell.js";

document.getElementById("print").addEventListener("click", () => window.print());
