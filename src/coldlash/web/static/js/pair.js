// Takes the code from behind the # of the scanned address into the form, and out of the address and the history.

import { say } from "./language.js";

const form = document.querySelector("[data-pair]");
const code = decodeURIComponent(location.hash.slice(1));
if (form !== null && code !== "") {
  form.elements.code.value = code;
  history.replaceState(null, "", location.pathname);
  form.elements.name.focus();
}
if (form !== null && form.elements.name.value === "") {
  const phone = navigator.userAgentData?.mobile ?? navigator.maxTouchPoints > 1;
  form.elements.name.value = phone ? say("Phone") : say("Computer");
  form.elements.name.select();
}
