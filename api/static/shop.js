// On the way out nothing of the shop's pages stays on this phone.
document.querySelector("[data-logout]")?.addEventListener("submit", () => navigator.serviceWorker?.controller?.postMessage("forget"));
