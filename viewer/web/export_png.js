// A picture for paper: what the canvas shows, with the labels that lie over it drawn in.

/**
 * A PNG data address of a drawn canvas and of the labels and leaders in the same element.
 * @param {HTMLCanvasElement} canvas
 * @param {HTMLElement} root
 */
export function onPaper(canvas, root) {
  const page = document.createElement("canvas");
  [page.width, page.height] = [canvas.width, canvas.height];
  const pen = /** @type {CanvasRenderingContext2D} */ (page.getContext("2d"));
  pen.drawImage(canvas, 0, 0);
  const scale = canvas.width / Math.max(root.clientWidth, 1);
  pen.scale(scale, scale);
  const own = root.getBoundingClientRect();
  for (const line of root.querySelectorAll(".gc-leader")) {
    const [x1, y1, x2, y2] = ["x1", "y1", "x2", "y2"].map((name) =>
      Number(line.getAttribute(name)),
    );
    pen.strokeStyle = getComputedStyle(line).stroke;
    pen.lineWidth = 1;
    pen.beginPath();
    pen.moveTo(x1, y1);
    pen.lineTo(x2, y2);
    pen.stroke();
  }
  pen.textBaseline = "middle";
  for (const label of root.querySelectorAll(".gc-label:not([hidden])")) drawLabel(pen, label, own);
  return page.toDataURL("image/png");
}

function drawLabel(pen, label, own) {
  const style = getComputedStyle(label);
  const box = label.getBoundingClientRect();
  const [x, y] = [box.left - own.left, box.top - own.top];
  pen.fillStyle = style.backgroundColor;
  pen.beginPath();
  pen.roundRect(
    x,
    y,
    box.width,
    box.height,
    Math.min(parseFloat(style.borderTopRightRadius) || 0, box.height / 2),
  );
  pen.fill();
  const bar = parseFloat(style.borderLeftWidth) || 0;
  pen.fillStyle = style.borderLeftColor;
  if (bar) pen.fillRect(x, y, bar, box.height);
  pen.fillStyle = style.color;
  pen.font = `${style.fontWeight} ${style.fontSize} ${style.fontFamily}`;
  const left = x + bar + (parseFloat(style.paddingLeft) || 0);
  const room = box.right - own.left - left - (parseFloat(style.paddingRight) || 0);
  pen.fillText(label.textContent, left, y + box.height / 2, Math.max(room, 1));
}
