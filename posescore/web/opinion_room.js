// Two reviews of one match; its parts lie in assets/ and are imported by name.
import OpinionRoom from "posescore-room/opinions.js";

export default OpinionRoom;
