// A photo made small before it is kept and sent: a phone's own is ten times what anybody looks at here.
const LONGEST_EDGE = 1600;
const QUALITY = 0.82;

// A JPEG upright and without the place it was taken at; the file itself where this browser can't make one.
export async function shrunk(file) {
  let picture;
  try {
    picture = await createImageBitmap(file, { imageOrientation: "from-image" });
    const share = Math.min(1, LONGEST_EDGE / Math.max(picture.width, picture.height));
    const canvas = document.createElement("canvas");
    canvas.width = Math.max(1, Math.round(picture.width * share));
    canvas.height = Math.max(1, Math.round(picture.height * share));
    const paint = canvas.getContext("2d", { alpha: false });
    // A JPEG can't be seen through: white, as on the server, and not black.
    paint.fillStyle = "#fff";
    paint.fillRect(0, 0, canvas.width, canvas.height);
    paint.imageSmoothingQuality = "high";
    paint.drawImage(picture, 0, 0, canvas.width, canvas.height);
    const blob = await new Promise((done) => canvas.toBlob(done, "image/jpeg", QUALITY));
    return blob?.type === "image/jpeg" ? blob : file;
  } catch {
    return file;
  } finally {
    picture?.close();
  }
}
