import { wireForms } from "./deeds.js";

wireForms();
