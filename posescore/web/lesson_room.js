// The lesson of one match; its parts lie in assets/ and are imported by name.
import LessonRoom from "posescore-room/lesson.js";

export default LessonRoom;
