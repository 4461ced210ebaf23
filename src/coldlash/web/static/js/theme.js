// Day, night or as the system has it: the owner's choice on this device. A cookie, so that the page comes in the right
// light from the first paint; not a secret.

const COOKIE = "coldlash-theme";
const CHOICES = ["", "light", "dark"];

export function chosenTheme() {
  const found = document.cookie.split("; ").find((part) => part.startsWith(`${COOKIE}=`));
  const value = found?.slice(COOKIE.length + 1) ?? "";
  return CHOICES.includes(value) ? value : "";
}

export function setTheme(choice) {
  const secure = location.protocol === "https:" ? "; Secure" : "";
  const age = choice === "" ? 0 : 400 * 86_400;
  document.cookie = `${COOKIE}=${choice}; Path=/; Max-Age=${age}; SameSite=Lax${secure}`;
  show();
}

function show() {
  const choice = chosenTheme();
  if (choice === "") {
    delete document.documentElement.dataset.theme;
  } else {
    document.documentElement.dataset.theme = choice;
  }
  for (const button of document.querySelectorAll("[data-theme-set]")) {
    button.setAttribute("aria-pressed", String(button.dataset.themeSet === choice));
  }
}

for (const group of document.querySelectorAll("[data-theme-choice]")) {
  group.hidden = false;
  group.addEventListener("click", (event) => {
    const button = event.target.closest("[data-theme-set]");
    if (button !== null) {
      setTheme(button.dataset.themeSet);
    }
  });
}
// A page kept on this device may have been kept in another light.
show();
