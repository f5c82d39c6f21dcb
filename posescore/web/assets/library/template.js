// The layout of the list of matches.

export const template = `
  <div class="shelf-room" :class="{dropping}">
    <header class="shelf-head">
      <div><h1>PoseScore</h1><p>Matches whose points you have to decide, or have decided.</p></div>
      <div class="head-acts"><a v-if="shelf?.athletes.length" class="button" href="/athletes">Athletes</a>
        <a v-if="shelf?.in_library" class="button" href="/sets">Sets</a>
        <button ref="add" type="button" class="primary" aria-haspopup="dialog" :disabled="!choices || !!shelf?.read_only" @click="open = 'add'">Add matches</button></div>
    </header>

    <p v-if="trouble" class="trouble" role="alert">{{ trouble }} <button type="button" class="quiet" @click="trouble = ''">Close</button></p>
    <p v-if="shelf?.read_only" class="trouble" role="note">{{ shelf.read_only }}</p>
    <p v-if="open !== 'add' && sendingText" class="sending" role="status">{{ sendingText }} <button type="button" class="quiet" @click="open = 'add'">Show</button></p>

    <template v-if="shelf">
      <div v-if="!shelf.in_library" class="nothing">
        <h2>There is no match yet</h2>
        <p>Drop videos of matches here, or <button type="button" class="quiet" @click="open = 'add'">choose files or a folder</button>. PoseScore finds both athletes, names the positions and proposes points; you decide.</p>
        <p class="hint">To look around first, run <code>posescore demo</code>: it brings a rendered sample match.</p>
      </div>
      <template v-else>
        <form class="tools" role="search" @submit.prevent="refresh">
          <label class="field">Search <input ref="search" type="search" v-model="wanted.search" placeholder="name, event, belt, colour" @input="onSearch"></label>
          <label class="field">Event <select v-model="wanted.event" @change="renew"><option value="">all events</option>
            <option v-for="name in shelf.events" :key="name" :value="name">{{ name }}</option></select></label>
          <label class="field">Athlete <select v-model="wanted.athlete" @change="renew"><option value="">all athletes</option>
            <option v-for="name in shelf.athletes" :key="name" :value="name">{{ name }}</option></select></label>
          <label class="field">Order <select v-model="wanted.order" @change="renew">
            <option v-for="sort in sorts" :key="sort.id" :value="sort.id">{{ sort.text }}</option></select></label>
        </form>
        <div class="stages" role="group" aria-label="Show matches by where they stand">
          <button v-for="group in groups" :key="group.id" type="button" :aria-pressed="wanted.group === group.id" @click="choose(group.id)">{{ group.text }} <b class="num">{{ group.number }}</b></button>
          <a v-if="wanted.event" class="button" :href="'/events?name=' + encodeURIComponent(wanted.event)">The event's page</a>
          <button v-if="shelf.total > 1 && !shelf.read_only" type="button" class="quiet" :aria-pressed="!!together" @click="chooseTogether">Choose several</button>
          <template v-if="together"><span class="num" role="status">{{ together.length }} chosen</span>
            <button type="button" :disabled="!together.length" @click="analyseChosen">Analyse them</button>
            <button type="button" :disabled="!together.length" aria-haspopup="dialog" @click="open = 'move'">Give them an event</button>
            <button type="button" :disabled="!together.length" aria-haspopup="dialog" @click="open = 'clear'">Delete them</button></template>
          <button v-if="wanted.group === 'open' && shelf.total > 1 && !shelf.read_only" type="button" class="quiet" @click="analyseAll">Analyse all</button>
        </div>
        <div v-if="!shelf.total" class="nothing"><p>No match is like that.</p>
          <button type="button" @click="clear">Show all matches</button></div>
        <section v-else v-for="part in shelves" :key="part.event ?? ''" class="shelf-part">
          <h2 v-if="part.event !== null" class="shelf-event"><a v-if="part.event" :href="'/events?name=' + encodeURIComponent(part.event)">{{ part.event }}</a><template v-else>No event</template> <span class="hint num">{{ part.rows.length }}</span></h2>
          <ul class="cards" aria-label="Matches">
          <li v-for="row in part.rows" :key="row.id">
            <match-card :row="row" :fixed="!!shelf.read_only" :chosen="together ? together.some((one) => one.id === row.id) : null" @choose="chooseOne" @details="show('details', $event)" @remove="show('delete', $event)" @analyse="analyse" @stop="stop"></match-card></li>
          </ul></section>
        <nav v-if="pages > 1" class="pager" aria-label="Pages of the list">
          <button type="button" :disabled="wanted.page === 1" @click="turn(-1)">Previous page</button>
          <span>Page {{ wanted.page }} of {{ pages }}, {{ shelf.total }} matches</span>
          <button type="button" :disabled="wanted.page >= pages" @click="turn(1)">Next page</button>
        </nav>
      </template>
    </template>
    <p v-else-if="!trouble" class="nothing">Looking into the library ...</p>

    <div v-if="dropping" class="drop-here" aria-hidden="true">Drop the videos: they are copied into the library on this computer.</div>
    <div aria-live="polite" class="sr">{{ said }}</div>
    <div v-if="said" :key="saidNumber" class="toast" aria-hidden="true">{{ said }}</div>

    <add-window v-if="open === 'add' && choices" :items="items" :shared="shared" :choices="offered" :started="started"
      @close="closeAdding" @files="takeFiles" @paths="takePaths" @remove="leaveOut" @again="tryAgain" @start="start"></add-window>
    <details-window v-if="open === 'details' && choices" :key="row.id" :row="row" :choices="offered" :draft="drafts[row.id]" @close="closeDetails" @saved="onSaved" @analyse="analyseAgain"></details-window>
    <together-window v-if="open === 'move' || open === 'clear'" :rows="together" :deletes="open === 'clear'" :events="shelf.events" @close="open = ''" @move="moveChosen" @remove="deleteChosen"></together-window>
    <delete-window v-if="open === 'delete'" :key="row.id" :row="row" @close="open = ''" @deleted="onDeleted"></delete-window>
  </div>`;
