/* The server's messages in the words of the page: it names fields as a program does, the page by their labels. */

const WORDS = [
  [/\bdeparted_at\b/g, "“Left on”"],
  [/\barrived_at\b/g, "“Delivered”"],
  [/\bopened_at\b/g, "“Opened”"],
  [/, or null$/, ", or nothing"],
  [/, or import with dates=day_first or dates=month_first \(--dates\)/, ", or say whether the day or the month stands first"],
];

export const inPageWords = (message) => WORDS.reduce((text, [found, said]) => text.replace(found, said), message);
