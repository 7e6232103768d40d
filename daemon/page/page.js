// Brings the marked parts of the page up to date, and says when it can not. Without it, loading anew does the same.
(() => {
  const EVERY_MS = 3000;
  const PATIENCE_MS = 12000;
  const unheard = document.getElementById("unheard");
  let heard = new Date();

  // What somebody is typing into, or has opened, is left alone.
  const isBusy = (part) =>
    part.querySelector("details[open]") !== null ||
    (part.contains(document.activeElement) && document.activeElement.matches("input, select"));

  const lasting = (part) => part.innerHTML.replace(/name="once" value="[^"]*"/g, "");

  const places = (part) => [...part.querySelectorAll("a, button, summary, input, select")];

  function bring(part, news) {
    if (!news || isBusy(part)) return;
    part.className = news.className;
    if (lasting(part) === lasting(news)) return;
    const place = places(part).indexOf(document.activeElement);
    part.replaceChildren(...news.childNodes);
    if (place >= 0) places(part)[place]?.focus({ preventScroll: true });
  }

  async function look() {
    const answer = await fetch(location.pathname, { cache: "no-store", signal: AbortSignal.timeout(8000) });
    if (!answer.ok) throw new Error(answer.status);
    const page = new DOMParser().parseFromString(await answer.text(), "text/html");
    for (const part of document.querySelectorAll("[data-live]")) bring(part, page.getElementById(part.id));
    heard = new Date();
  }

  function tell() {
    const isOld = new Date() - heard > PATIENCE_MS;
    const words = isOld ? `Nothing heard from the bench since ${heard.toLocaleTimeString()}: what stands here is old.` : "";
    if (unheard.textContent !== words) unheard.textContent = words;
    document.body.classList.toggle("old", isOld);
  }

  async function round() {
    if (!document.hidden) {
      try {
        await look();
      } catch {
        // The next round tries again; tell() says for how long it has been in vain.
      }
      tell();
    }
    setTimeout(round, EVERY_MS);
  }

  if (document.querySelector("[data-live]")) setTimeout(round, EVERY_MS);
  document.addEventListener("visibilitychange", () => document.hidden || look().then(tell, tell));
})();
