// Keeps the screen awake during a visit, where the browser allows it (HTTPS and localhost).

/**
 * Asks for the lock and takes it again when the page comes back. Returns {release(), held()}; held() is false where the
 * browser has no wake lock or refuses it (low battery): the page then says that the screen may go dark.
 */
export function keepAwake(changed = () => {}) {
  let lock = null;
  let wanted = true;

  async function take() {
    if (!wanted || lock !== null || document.visibilityState !== "visible" || !("wakeLock" in navigator)) {
      return;
    }
    try {
      const taken = await navigator.wakeLock.request("screen");
      if (!wanted) {
        await taken.release();
        return;
      }
      lock = taken;
      lock.addEventListener("release", () => {
        lock = null;
        changed(false);
      });
      changed(true);
    } catch {
      changed(false);
    }
  }

  document.addEventListener("visibilitychange", take);
  take();
  return {
    held: () => lock !== null,
    async release() {
      wanted = false;
      document.removeEventListener("visibilitychange", take);
      await lock?.release();
    },
  };
}
