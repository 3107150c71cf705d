// A photograph drawn anew, small enough to be sent at night from a cellar: the picture alone, without where it was taken.

const SIDE = 1_280, MOST = 200_000; // octets

export async function small(file) {
  const image = await createImageBitmap(file, { imageOrientation: "from-image" });
  let scale = Math.min(1, SIDE / Math.max(image.width, image.height));
  for (;;) {
    const canvas = document.createElement("canvas");
    canvas.width = Math.max(1, Math.round(image.width * scale));
    canvas.height = Math.max(1, Math.round(image.height * scale));
    canvas.getContext("2d").drawImage(image, 0, 0, canvas.width, canvas.height);
    for (const quality of [0.8, 0.65, 0.5, 0.35]) {
      const made = await new Promise(done => canvas.toBlob(done, "image/jpeg", quality));
      if (made && made.size <= MOST) return made;
    }
    scale *= 0.75;
  }
}
