// Small deeds on elements of the page that its parts share. A text is set only where it is another one.

const SVG = "http://www.w3.org/2000/svg";

export function svg(parent, tag, attributes, text) {
  const child = document.createElementNS(SVG, tag);
  for (const [name, value] of Object.entries(attributes)) child.setAttribute(name, value);
  if (text !== undefined) child.textContent = text;
  parent.append(child);
  return child;
}

export function put(place, text) {
  if (place.textContent !== text) place.textContent = text;
}

export function rows(body, wanted, columns) {
  while (body.rows.length > wanted.length) body.deleteRow(-1);
  wanted.forEach((texts, index) => {
    const row = body.rows[index] ?? body.insertRow();
    while (row.cells.length < columns) row.insertCell();
    texts.forEach((text, column) => put(row.cells[column], text));
  });
}
