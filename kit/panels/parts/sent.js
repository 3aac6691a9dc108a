
// What a table and a photo with marks share: their parts in the browser begin with this.
//
// A message has a number and waits for its answer; until it comes it is sent again, ever more slowly.

const ANSWER_MS = 2500; // without an answer after so long, say so
const RETRY_MS = 3000;
const SLOWEST_MS = 15000;

class Sent {
  constructor(model) {
    this.model = model;
    this.client = unlike();
    this.seq = 0;
    this.waiting = new Map(); // number -> { about, message, at, next, wait }
  }
  // send a message about things of the page, at once or after a while; its number
  send(about, message, after = 0) {
    const [seq, at] = [++this.seq, Date.now()];
    const numbered = { ...message, client: this.client, seq };
    const sent = { about, message: numbered, at, next: at + after, wait: after || RETRY_MS };
    this.waiting.set(seq, sent);
    if (!after) this.post(sent);
    return seq;
  }
  post(sent) {
    sent.next = Date.now() + sent.wait;
    sent.wait = Math.min(sent.wait * 1.5, SLOWEST_MS);
    this.tell(sent.message);
  }
  // a message that no answer is waited for
  tell(message) {
    try {
      this.model.send(message);
    } catch (error) {
      console.warn("kit:", error); // no Python to send it to: that is said, and tried again
    }
  }
  // what the message is the first answer to
  answered({ kind, client, seq }) {
    if (kind !== "answer" || client !== this.client) return undefined;
    const sent = this.waiting.get(seq);
    this.waiting.delete(seq);
    return sent;
  }
  // send again what is due, let go of what is not wanted any more; what has had no answer for long
  again(wanted) {
    for (const [seq, sent] of this.waiting) {
      if (!wanted(sent.about, seq)) this.waiting.delete(seq);
      else if (Date.now() > sent.next) this.post(sent);
    }
    return [...this.waiting].filter(([, sent]) => Date.now() - sent.at > ANSWER_MS);
  }
}
