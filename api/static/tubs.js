// A long list is found through by a few letters of the name.
const find = document.querySelector(".find input"), told = document.querySelector("[data-found]");
if (find) {
  const lines = [...document.querySelectorAll(".tubs > li")];
  find.parentElement.hidden = false;
  find.addEventListener("input", () => {
    const wanted = find.value.trim().toLowerCase();
    for (const line of lines) line.hidden = !line.querySelector("strong").textContent.toLowerCase().includes(wanted);
    const left = lines.filter((line) => !line.hidden).length;
    told.hidden = !wanted;
    told.textContent = `${left} of ${lines.length} tubs`;
  });
}

// Tubs that come first are kept on the phone before the network is gone: a page never opened opens too.
const FIRST = 20;

const keep = async () => {
  const worker = (await navigator.serviceWorker?.ready)?.active;
  const paths = [...document.querySelectorAll(".tubs a")].slice(0, FIRST).map((link) => link.pathname);
  if (paths.length) worker?.postMessage({ keep: paths.flatMap((path) => [path, `${path}/dip`]) });
};
(self.requestIdleCallback ?? setTimeout)(() => keep().catch(() => {}));
