// Where the page stands when a step is shown: at its top where the whole step has room there, else at the step's head.
// What keeps people out stands above every step: nobody is led past it.
const keepsOut = () => Boolean(document.querySelector("[data-kept-out]")?.offsetHeight);

export const bringIntoSight = (form) => {
  window.scrollTo(0, 0);
  if (!document.body.classList.contains("at-a-station") || keepsOut()) return;
  const end = form.querySelector(".step-more").getBoundingClientRect().bottom;
  if (end > window.innerHeight) form.querySelector(".step-head").scrollIntoView();
};

// Once the page is there the browser goes to the anchor by itself, before this or after it: it has two frames later.
// Whoever has begun to type or to tap by then stays where they are.
export const bringIntoSightAtFirst = (form, isUntouched) => {
  const bring = () => { if (isUntouched()) bringIntoSight(form); };
  window.addEventListener("load", () => {
    bring();
    requestAnimationFrame(() => requestAnimationFrame(bring));
  });
};
