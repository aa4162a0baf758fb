// The modules every page carries. Each listens on the document, so what htmx brings in later works too.
import "./stepper.js";
import "./choose.js";
import "./once.js";
import "./draft.js";
import "./camera.js";
import "./small.js";
