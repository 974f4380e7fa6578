// Pictures that a driver takes without a signal: made small, and kept in the browser until they are
// sent. What was chosen is kept at once and stays with its form, over a page that was lost.

const LONGEST_PX = 1600;
const PHOTO_QUALITY = 0.8;

function photoStore() {
  return new Promise((resolve, reject) => {
    const asked = indexedDB.open("road", 1);
    asked.onupgradeneeded = () => asked.result.createObjectStore("photos");
    asked.onsuccess = () => resolve(asked.result);
    asked.onerror = () => reject(asked.error);
  });
}

async function photoDo(mode, act) {
  const kept = await photoStore();
  try {
    return await new Promise((resolve, reject) => {
      const work = kept.transaction("photos", mode);
      const asked = act(work.objectStore("photos"));
      // Done when it is on the disk, not when it was asked for.
      work.oncomplete = () => resolve(asked.result);
      work.onerror = work.onabort = () => reject(work.error);
    });
  } finally {
    kept.close();
  }
}

const keepPhoto = (key, blob) => photoDo("readwrite", (photos) => photos.put(blob, key));
const keptPhoto = (key) => photoDo("readonly", (photos) => photos.get(key));
const dropPhoto = (key) => photoDo("readwrite", (photos) => photos.delete(key));

// A telephone's picture is some megabytes; what shows a fault needs a tenth of it.
async function smaller(file) {
  if (!file.type.startsWith("image/")) return file;
  let drawn;
  try {
    drawn = await createImageBitmap(file, {imageOrientation: "from-image"});
  } catch {
    return file; // what this browser cannot read, the service may
  }
  const scale = Math.min(1, LONGEST_PX / Math.max(drawn.width, drawn.height));
  const sheet = document.createElement("canvas");
  sheet.width = Math.round(drawn.width * scale);
  sheet.height = Math.round(drawn.height * scale);
  sheet.getContext("2d").drawImage(drawn, 0, 0, sheet.width, sheet.height);
  drawn.close();
  const small = await new Promise((resolve) => sheet.toBlob(resolve, "image/jpeg", PHOTO_QUALITY));
  return small && small.size < file.size ? small : file;
}
