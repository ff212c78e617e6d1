// The same in a browser.
import { createGrpcWebTransport } from "@connectrpc/connect-web";
import { day, refusal, signIn } from "./day.js";

const form = document.querySelector("form")!;
const list = document.querySelector("ul")!;

form.addEventListener("submit", async (event) => {
  event.preventDefault();
  const said = (name: string) => String(new FormData(form).get(name));
  const transport = createGrpcWebTransport({ baseUrl: said("server") });
  const lines = await signIn(transport, said("name"), said("password"))
    .then((signed) => day(transport, signed, said("site")))
    .catch(refusal);
  list.replaceChildren(
    ...lines.map((line) => Object.assign(document.createElement("li"), { textContent: line })),
  );
});
