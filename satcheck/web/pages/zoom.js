// A picture under the fingers: a tap, a pinch, a drag; with a mouse, the wheel; with keys, + - and Enter.

const MOST = 8;

export function zoom(frame, sheet, tapped) {
  const fingers = new Map();
  let scale = 1, x = 0, y = 0, start = null, moved = false, began = 0;

  function place() {
    const width = frame.clientWidth, height = frame.clientHeight;
    x = Math.min(0, Math.max(width * (1 - scale), x));
    y = Math.min(0, Math.max(height * (1 - scale), y));
    sheet.style.transform = `translate(${x}px, ${y}px) scale(${scale})`;
    sheet.style.setProperty("--zoom", scale);
    frame.classList.toggle("close", scale > 1);
  }
  function to(next, px, py) {
    next = Math.min(MOST, Math.max(1, next));
    x = px - ((px - x) * next) / scale;
    y = py - ((py - y) * next) / scale;
    scale = next;
    place();
  }
  function middle() {
    const box = frame.getBoundingClientRect(), all = [...fingers.values()];
    const at = [0, 1].map((axis) => all.reduce((sum, one) => sum + one[axis], 0) / all.length);
    const apart = all.length > 1 ? Math.hypot(all[0][0] - all[1][0], all[0][1] - all[1][1]) : 0;
    return { x: at[0] - box.left, y: at[1] - box.top, apart };
  }

  frame.addEventListener("pointerdown", (event) => {
    fingers.set(event.pointerId, [event.clientX, event.clientY]);
    if (fingers.size === 1) { moved = false; began = event.timeStamp; } else moved = true;
    start = { ...middle(), scale };
    if (event.pointerType === "mouse" || scale > 1 || fingers.size > 1) frame.setPointerCapture(event.pointerId);
  });
  frame.addEventListener("pointermove", (event) => {
    if (!fingers.has(event.pointerId)) return;
    fingers.set(event.pointerId, [event.clientX, event.clientY]);
    const now = middle();
    if (Math.hypot(now.x - start.x, now.y - start.y) > 10) moved = true;
    if (fingers.size > 1 && start.apart > 0) to((start.scale * now.apart) / start.apart, now.x, now.y);
    else if (scale > 1 && moved) {
      x += event.movementX; y += event.movementY; place();
    }
  });
  const lift = (event) => {
    const was = fingers.delete(event.pointerId);
    if (was && event.type === "pointerup" && !fingers.size && !moved && event.timeStamp - began < 600) {
      const box = sheet.getBoundingClientRect();
      tapped((event.clientX - box.left) / box.width, (event.clientY - box.top) / box.height);
    }
    if (fingers.size) start = { ...middle(), scale };
  };
  frame.addEventListener("pointerup", lift);
  frame.addEventListener("pointercancel", lift);
  frame.addEventListener("wheel", (event) => {
    if (!event.ctrlKey && scale === 1) return; // the page scrolls
    event.preventDefault();
    const box = frame.getBoundingClientRect();
    to(scale * Math.exp(-event.deltaY / 300), event.clientX - box.left, event.clientY - box.top);
  }, { passive: false });
  frame.addEventListener("keydown", (event) => {
    const by = { "+": 1.5, "=": 1.5, "-": 1 / 1.5 }[event.key];
    if (by) to(scale * by, frame.clientWidth / 2, frame.clientHeight / 2);
    else if (event.key === "Enter" || event.key === " ") { event.preventDefault(); tapped(null, null); }
  });
  return { reset() { scale = 1; x = 0; y = 0; place(); }, get scale() { return scale; } };
}
