// Runs before the review page's own scripts and notes when what is seen: see page_speed.py.
(() => {
  const speed = { overlays: [], strokes: 0, view: {} };
  window.pageSpeed = speed;

  /** After the frame that is being made now was painted. */
  const painted = (then) => {
    const channel = new MessageChannel();
    channel.port1.onmessage = () => then(performance.now());
    channel.port2.postMessage(0);
  };

  const stroke = CanvasRenderingContext2D.prototype.stroke;
  CanvasRenderingContext2D.prototype.stroke = function (...given) {
    speed.strokes += 1;
    return stroke.apply(this, given);
  };

  // Every frame of the footage that the page is told of: did it get its skeletons, how long did they take?
  const ask = HTMLVideoElement.prototype.requestVideoFrameCallback;
  HTMLVideoElement.prototype.requestVideoFrameCallback = function (callback) {
    return ask.call(this, (now, about) => {
      const before = speed.strokes;
      const began = performance.now();
      callback(now, about);
      speed.overlays.push({ media_s: about.mediaTime, ms: performance.now() - began, drew: speed.strokes > before });
    });
  };

  const SIGHTS = {
    footage: () => speed.overlays.length > 0,
    strip: () => document.querySelector(".strip .hold") !== null,
    proposals: () => document.querySelector(".proposals .proposal") !== null,
  };

  /** Milliseconds from the start of loading until the footage's first frame, the strip and the proposals were painted. */
  speed.viewed = new Promise((resolve) => {
    const look = () => {
      for (const [name, seen] of Object.entries(SIGHTS)) {
        if (!(name in speed.view) && seen()) {
          speed.view[name] = null;
          painted((ms) => { speed.view[name] = ms; });
        }
      }
      if (Object.keys(SIGHTS).every((name) => speed.view[name])) resolve(speed.view);
      else requestAnimationFrame(look);
    };
    requestAnimationFrame(look);
  });

  /** Wait for a key and for what it changes; `speed.effect` gives the milliseconds between key and paint. */
  speed.await = (sight) => {
    const before = sight();
    let pressed = null;
    window.addEventListener("keydown", (event) => { pressed ??= event.timeStamp; }, { capture: true, once: true });
    speed.effect = new Promise((resolve) => {
      const look = () => {
        if (pressed !== null && sight() !== before) painted((ms) => resolve(ms - pressed));
        else requestAnimationFrame(look);
      };
      requestAnimationFrame(look);
    });
  };
})();
