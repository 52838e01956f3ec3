// @ts-check
/** A file dropped anywhere on the page goes into the form's file field. */

const form = /** @type {HTMLFormElement} */ (document.getElementById("arrive"));
const field = /** @type {HTMLInputElement} */ (form.elements.namedItem("file"));

document.addEventListener("dragover", (event) => event.preventDefault());
document.addEventListener("drop", (event) => {
  event.preventDefault();
  if (event.dataTransfer?.files.length) {
    field.files = event.dataTransfer.files;
    form.requestSubmit();
  }
});
field.addEventListener("change", () => field.files?.length && form.requestSubmit());
