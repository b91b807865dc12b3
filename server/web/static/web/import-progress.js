// How far a large file is, looked up each second until it is done. Without scripts the page loads itself anew.
"use strict";
{
  const PAUSE = 1000;

  // The bar is moved, not drawn anew; what is said beside it is changed only where it differs.
  const move = (here, fresh) => {
    const [bar, seen] = [here, fresh].map((place) => place.querySelector("progress"));
    for (const name of ["max", "value"]) {
      if (seen.hasAttribute(name)) bar.setAttribute(name, seen.getAttribute(name));
    }
    const [label, told] = [here, fresh].map((place) => place.querySelector("label"));
    if (label.textContent !== told.textContent) label.textContent = told.textContent;
  };

  const end = (here, fresh) => {
    here.replaceWith(fresh);
    const heading = fresh.querySelector("h1");
    heading.tabIndex = -1;
    heading.focus();
  };

  const look = async () => {
    try {
      const answer = await fetch(window.location.href, { cache: "no-store" });
      const page = new DOMParser().parseFromString(await answer.text(), "text/html");
      const [here, fresh] = [document, page].map((place) => place.querySelector("[data-import]"));
      // Signed out meanwhile, or let in no longer: the page itself says so.
      if (answer.ok && !fresh) return window.location.reload();
      if (fresh && !fresh.querySelector("progress")) return end(here, fresh);
      if (fresh) move(here, fresh);
    } catch {
      // No network just now: the file is stored all the same.
    }
    return window.setTimeout(look, PAUSE);
  };
  window.setTimeout(look, PAUSE);
}
