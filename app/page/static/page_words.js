/* The server's messages in the words of the page: it names fields as a program does, the page by their labels. */

const WORDS = [
  [/\bdeparted_at\b/g, "“Left on”"],
  [/\barrived_at\b/g, "“Delivered”"],
  [/\bopened_at\b/g, "“Opened”"],
  [/\bair_cargo\b/g, "air cargo"],
  [/\bship_date\b/g, "“Left on”"],
  [/\barrival_date\b/g, "“Opened on”"],
  [/must add up to sent\b/, "must add up to “In box”"],
  [/; list a day in open_dates that is worked$/, "; name a day that is worked all the same"],
  [/: a row tells of a box that has arrived$/, ": only a box that has arrived is entered here"],
  [/, or null$/, ", or nothing"],
  [/, or import with dates=day_first or dates=month_first \(--dates\)/, ", or say whether the day or the month stands first"],
];

export const inPageWords = (message) => WORDS.reduce((text, [found, said]) => text.replace(found, said), message);
