// Runs before the first paint, so that the page never flashes in the wrong theme.
(function () {
  const kept = localStorage.getItem("theme");
  const sun = kept ? kept === "sun" : matchMedia("(prefers-color-scheme: light)").matches;
  document.documentElement.dataset.theme = sun ? "sun" : "dark";
  document.documentElement.dataset.scripts = "on";
})();
