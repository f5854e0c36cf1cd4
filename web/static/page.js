import { wireForms } from "./deeds.js";
import { wireUnits } from "./paint.js";

wireForms();
wireUnits();
