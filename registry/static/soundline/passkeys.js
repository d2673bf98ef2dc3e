// Says in words what went wrong with a passkey; the library only tells the console.
"use strict";
(() => {
  const show = (id) => {
    const line = document.getElementById(id);
    if (line) line.hidden = false;
  };
  document.addEventListener("allauth.error", (event) => {
    event.preventDefault();
    show(window.PublicKeyCredential ? "passkey-problem" : "passkey-unknown");
  });
})();
