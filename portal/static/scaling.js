// Scales a picture down on the device, to spare a slow line. The site never relies on it.

const LONG_EDGE = 2560; // pixels; the shop keeps less
const QUALITY = 0.9;

// The picture with a long edge of at most LONG_EDGE; itself where it is small, or where this browser cannot read it.
export async function smaller(file) {
  let picture;
  try {
    picture = await createImageBitmap(file, { imageOrientation: "from-image" }); // older browsers refuse, or lie on their side
  } catch {
    return file;
  }
  const scale = LONG_EDGE / Math.max(picture.width, picture.height);
  if (scale >= 1) {
    picture.close();
    return file;
  }
  const canvas = document.createElement("canvas");
  canvas.width = Math.round(picture.width * scale);
  canvas.height = Math.round(picture.height * scale);
  const pen = canvas.getContext("2d");
  pen.fillStyle = "#fff"; // under what is see-through, for JPEG knows no such thing
  pen.fillRect(0, 0, canvas.width, canvas.height);
  pen.imageSmoothingQuality = "high";
  pen.drawImage(picture, 0, 0, canvas.width, canvas.height);
  picture.close();
  const scaled = await new Promise((resolve) => { canvas.toBlob(resolve, "image/jpeg", QUALITY); });
  return scaled && scaled.size < file.size ? scaled : file;
}
