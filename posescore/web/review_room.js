// The one component of our own; its parts lie in assets/ and are imported by name.
import ReviewRoom from "posescore-room/review.js";

export default ReviewRoom;
