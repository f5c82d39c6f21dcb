// The library of matches; its parts lie in assets/ and are imported by name.
import LibraryRoom from "posescore-room/library.js";

export default LibraryRoom;
