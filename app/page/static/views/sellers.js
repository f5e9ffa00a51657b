/* Sellers: what is known of each before an order, and what to ask before the first. */

export const title = "Sellers";

/* "#sellers" lists them, "#sellers/new" records one, "#sellers/of/NAME" shows one. */
export async function show(root, [part, name], signal) {
  if (part === "new" || part === "of") return (await import("/page/sellers/seller.js")).show(root, { name, isNew: part === "new" }, signal);
  return (await import("/page/sellers/list.js")).show(root, signal);
}
