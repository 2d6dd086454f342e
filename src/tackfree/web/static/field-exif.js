// What the camera wrote of time and place, carried over when a picture is made smaller.
// published: CIPA DC-008 (Exif), sections 4.5 to 4.6; ISO/IEC 10918-1 annex B for the markers.

const ORIENTATION = 0x0112;

// The Exif segment of a JPEG as a copy, its picture said to stand upright and its preview left
// out of its list; null where there is none, or it cannot be read.
export function exifOf(bytes) {
  try {
    const found = segment(bytes);
    return found ? upright(found.slice()) : null;
  } catch {
    return null; // a torn segment is not worth a picture
  }
}

// A JPEG with that segment as its first.
export function withExif(bytes, exif) {
  if (!exif || bytes[0] !== 0xff || bytes[1] !== 0xd8) return bytes;
  const made = new Uint8Array(bytes.length + exif.length);
  made.set(bytes.subarray(0, 2));
  made.set(exif, 2);
  made.set(bytes.subarray(2), 2 + exif.length);
  return made;
}

function segment(bytes) {
  if (bytes[0] !== 0xff || bytes[1] !== 0xd8) return null;
  let at = 2;
  while (at + 10 < bytes.length && bytes[at] === 0xff && bytes[at + 1] !== 0xda) {
    const size = bytes[at + 2] * 256 + bytes[at + 3];
    const head = String.fromCharCode(...bytes.subarray(at + 4, at + 10));
    if (bytes[at + 1] === 0xe1 && head === "Exif\0\0") {
      return at + 2 + size <= bytes.length ? bytes.subarray(at, at + 2 + size) : null;
    }
    at += 2 + size;
  }
  return null;
}

function upright(found) {
  const view = new DataView(found.buffer, found.byteOffset + 10); // past marker, size and name
  const little = view.getUint16(0) === 0x4949;
  if (!little && view.getUint16(0) !== 0x4d4d) return null;
  const first = view.getUint32(4, little);
  const count = view.getUint16(first, little);
  for (let k = 0; k < count; k += 1) {
    const entry = first + 2 + 12 * k;
    if (view.getUint16(entry, little) === ORIENTATION) view.setUint16(entry + 8, 1, little);
  }
  view.setUint32(first + 2 + 12 * count, 0, little); // no second list: its preview is of the old size
  return found;
}
