// A picture from the camera: made smaller on the phone, named by the hash of its bytes.

import { exifOf, withExif } from "/static/field-exif.js";
import { sha256 } from "/static/field-hash.js";

const LONGEST = 1600; // px; enough to read a lot number on a pail
const QUALITY = 0.82;

// What a JPEG says of when and where it was taken goes along with the smaller one.
export async function shrink(file) {
  let blob = file;
  try {
    const image = await createImageBitmap(file, { imageOrientation: "from-image" });
    const scale = Math.min(1, LONGEST / Math.max(image.width, image.height));
    const canvas = document.createElement("canvas");
    canvas.width = Math.max(1, Math.round(image.width * scale));
    canvas.height = Math.max(1, Math.round(image.height * scale));
    canvas.getContext("2d").drawImage(image, 0, 0, canvas.width, canvas.height);
    image.close();
    const made = await new Promise((r) => canvas.toBlob(r, "image/jpeg", QUALITY));
    const exif = exifOf(new Uint8Array(await file.arrayBuffer()));
    if (made) blob = new Blob([withExif(new Uint8Array(await made.arrayBuffer()), exif)], { type: "image/jpeg" });
  } catch {
    // A file this browser cannot draw goes as it is; the server looks at it.
  }
  const bytes = new Uint8Array(await blob.arrayBuffer());
  // The bytes are kept, not a handle to the camera's file, which may go away.
  return { sha: sha256(bytes), blob: new Blob([bytes], { type: blob.type || "image/jpeg" }), name: file.name };
}
