// Tubs that come first are kept on the phone before the network is gone: a page never opened opens too.
const FIRST = 20;

const keep = async () => {
  const worker = (await navigator.serviceWorker?.ready)?.active;
  const paths = [...document.querySelectorAll(".tubs a")].slice(0, FIRST).map((link) => link.pathname);
  if (paths.length) worker?.postMessage({ keep: paths.flatMap((path) => [path, `${path}/dip`]) });
};
(self.requestIdleCallback ?? setTimeout)(() => keep().catch(() => {}));
