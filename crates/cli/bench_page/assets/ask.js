// Asks this page's own server. Nothing else is ever asked.

export class Refused extends Error {
  constructor(status, found) {
    super((found.error ?? []).map((one) => [one.message, ...(one.hints ?? [])].join(". ")).join("; ") || `status ${status}`);
    this.status = status;
    this.found = found;
  }
}

async function send(path, options) {
  let response;
  try {
    response = await fetch(path, options);
  } catch (error) {
    if (error.name === "AbortError") throw error;
    // A connection at rest may just have been closed: once more, on a new one.
    response = await fetch(path, options).catch((again) => {
      if (again.name === "AbortError") throw again;
      throw new Refused(0, { error: [{ message: "The bench does not answer. Is `barwright page` still running?" }] });
    });
  }
  if (response.status === 503 && !options.signal?.aborted) {
    await new Promise((done) => setTimeout(done, 1000 * Number(response.headers.get("Retry-After") ?? 1)));
    response = await fetch(path, options);
  }
  const found = await response.json();
  if (!response.ok) throw new Refused(response.status, found);
  return found;
}

const json = { "Content-Type": "application/json" };
export const get = (path) => send(path, {});
export const post = (path, question, signal) => send(path, { method: "POST", headers: json, body: JSON.stringify(question), signal });
export const put = (path, question) => send(path, { method: "PUT", headers: json, body: JSON.stringify(question) });
