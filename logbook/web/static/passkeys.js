// Passkeys: asks the server what is to be signed, has the browser sign it, and sends what was signed.
// Without this script one signs in by a link; the buttons stay hidden where a browser has no passkeys.

const octets = text => Uint8Array.from(atob(text.replace(/-/g, "+").replace(/_/g, "/")), each => each.charCodeAt(0));
const said = buffer => btoa(String.fromCharCode(...new Uint8Array(buffer)))
  .replace(/\+/g, "-").replace(/\//g, "_").replace(/=+$/, "");

async function send(to, fields) {
  const answer = await fetch(to, { method: "POST", body: new URLSearchParams(fields), redirect: "error" });
  if (!answer.ok) throw new Error(String(answer.status));
  return answer.json();
}

// The server speaks JSON, the browser wants octets (Web Authentication, level 2).
function readable(options) {
  options.challenge = octets(options.challenge);
  if (options.user) options.user.id = octets(options.user.id);
  for (const list of [options.excludeCredentials, options.allowCredentials]) {
    for (const each of list || []) each.id = octets(each.id);
  }
  return options;
}

function sendable(credential) {
  const { response } = credential, parts = {};
  for (const name of ["clientDataJSON", "attestationObject", "authenticatorData", "signature", "userHandle"]) {
    if (response[name]) parts[name] = said(response[name]);
  }
  return JSON.stringify({
    id: credential.id, rawId: said(credential.rawId), type: credential.type, response: parts,
    clientExtensionResults: {}, authenticatorAttachment: credential.authenticatorAttachment,
  });
}

function wire(place, ask) {
  if (!place || !window.PublicKeyCredential) return;
  const button = place.querySelector("button"), wrong = place.querySelector(".wrong");
  const { asked: where, to, csrf, next } = place.dataset, own = csrf ? { csrf } : {};
  place.hidden = false;
  button.addEventListener("click", async () => {
    button.disabled = true;
    wrong.hidden = true;
    try {
      const { asked, publicKey } = await send(where, own);
      const credential = sendable(await ask({ publicKey: readable(publicKey) }));
      location.assign((await send(to, { ...own, asked, credential, next: next || "" })).to);
    } catch {
      wrong.hidden = false;
      button.disabled = false;
    }
  });
}

wire(document.getElementById("passkey"), options => navigator.credentials.get(options));
wire(document.getElementById("new-passkey"), options => navigator.credentials.create(options));
