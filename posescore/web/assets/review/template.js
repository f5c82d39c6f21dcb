// The layout of the review page.

export const template = `
  <div class="room" v-if="review && clock">
    <header class="bar">
      <a href="/" class="home">PoseScore</a>
      <div class="bar-title"><h1 :title="review.match.title">{{ review.match.title }}</h1><p v-if="review.match.about">{{ review.match.about }}</p></div>
      <nav class="ways" aria-label="Other views of this match"><a :href="page + '/opinions' + (opinion ? '?one=' + encodeURIComponent(opinion) : '')">Second opinion</a>
        <a :href="page + '/lesson'">Lesson</a></nav>
      <label class="author">Your name <input type="text" v-model.trim="author" @change="nameChanged" @keydown.enter="$event.target.blur()" @keydown.esc="$event.target.blur()" :disabled="!!opinion" maxlength="60" :placeholder="nameless" autocomplete="off"></label>
      <button type="button" @click="act('history')" aria-haspopup="dialog">History <kbd v-if="keyOf('history')">{{ keyOf('history') }}</kbd></button>
      <button type="button" @click="act('save')" aria-haspopup="dialog">Save <span v-if="making" class="num">{{ making }}</span> <kbd v-if="keyOf('save')">{{ keyOf('save') }}</kbd></button>
      <button type="button" @click="show('keys')" aria-haspopup="dialog">Keys <kbd v-if="keyOf('keys')">{{ keyOf('keys') }}</kbd></button>
    </header>

    <p v-if="trouble" class="trouble" role="alert">{{ trouble }} <button type="button" class="quiet" @click="trouble = ''">Close</button></p>
    <p v-if="news" class="news"><span>{{ news }}</span> <button type="button" class="quiet" @click="act('history')">History</button> <button type="button" class="quiet" @click="news = ''">Close</button></p>
    <p v-if="opinion" class="apart" role="note"><b>{{ opinion }}’s own review.</b> What others decided does not show here, and this does not show to them.
      <a :href="page + '/opinions?one=' + encodeURIComponent(opinion)">Compare, when both are done</a> <a :href="page">The shared log</a></p>
    <p v-if="review.read_only" class="apart" role="note">{{ review.read_only }}</p>
    <p v-for="aside in review.set_aside" :key="aside" class="trouble" role="note">{{ aside }}</p>

    <div class="desk">
      <div class="watch">
        <footage-stage ref="stage" :footage="review.footage" :clock="clock" :track="track" :bones="bones" :shown="shown" :rate="rate" :sound="sound" :follows="follows" @view="onView" @silent="onSilent"
          :loop="loop" :caption="nowText" @frame="onFrame" @playing="playing = $event" @trouble="trouble = $event"></footage-stage>
        <play-bar goes :frame="frame" :playing="playing" :rate="rate" :shown-words="shownWords" :times="times" :follows="follows" :sound="sound" :hint="hint" @act="act">
          <button type="button" :title="hint('repeat')" :aria-pressed="!!loop" @click="act('repeat')">Repeat</button>
          <button type="button" :title="hint('keep')" aria-haspopup="dialog" @click="act('keep')">Keep</button></play-bar>
        <p class="now"><span class="label">Now</span> {{ nowText }}</p>
      </div>

      <aside class="side" aria-label="Score and proposals">
        <score-board :review="review" :names="names" :match-clock="matchClock" :by-now="scoreNowText"></score-board>
        <result-panel :ending="review.ending" :hint="hint('result')" :key-shown="keyOf('result')" @open="act('result')" @seek="stillAt"></result-panel>
        <div class="todo">
          <p v-if="review.proposals.length"><b class="num">{{ undecided }}</b> of {{ review.proposals.length }} to decide</p><p v-else>No proposals</p>
          <button v-if="!openNeeds.length" type="button" class="primary" @click="act('next_match')">Next match to decide <kbd v-if="keyOf('next_match')">{{ keyOf('next_match') }}</kbd></button>
          <button v-else type="button" class="primary" @click="act('next')">Next to decide <kbd v-if="keyOf('next')">{{ keyOf('next') }}</kbd></button>
          <div class="todo-more">
            <button type="button" :disabled="!review.undo" :title="review.undo ? 'Undo: ' + review.undo : 'Nothing to undo'" @click="act('undo')">Undo <kbd v-if="keyOf('undo')">{{ keyOf('undo') }}</kbd></button>
            <button type="button" :disabled="!review.redo" :title="review.redo ? 'Redo: ' + review.redo : 'Nothing to redo'" @click="act('redo')">Redo</button>
            <button type="button" :title="hint('add')" @click="act('add')">Add one <kbd v-if="keyOf('add')">{{ keyOf('add') }}</kbd></button>
          </div>
        </div>
        <div v-if="review.proposals.length > 1" class="only" role="group" aria-label="Which proposals are listed">
          <button v-for="one in kinds" :key="one.id" type="button" :aria-pressed="only === one.id" :title="hint('only')" @click="only = one.id">{{ one.text }} <b class="num">{{ one.count }}</b></button></div>
        <p v-if="needText" class="need"><span aria-hidden="true">\u26a0 </span>{{ needText }}</p>
        <proposal-list :review="review" :listed="listed" :about="about" :selected="selected" :names="names" :busy="saving" :key-of="keyOf"
          @select="toggleSelect" @act="act" @seek="watchEvidence" @still="stillAt" @check="saveCheck" @closer="lookCloser"></proposal-list>
        <p class="fine">Proposals only: you decide, and the referee's call stands.</p>
      </aside>

      <div class="below">
        <div class="below-head"><h2>The whole match</h2>
          <p class="legend"><span><i class="swatch solid"></i>clear</span><span><i class="swatch hatch"></i>doubtful</span>
            <span><i class="swatch flag-open"></i>proposed</span><span><i class="swatch flag-done"></i>confirmed</span></p>
          <button type="button" :title="hint('close_up')" :aria-pressed="closeUp" aria-label="Zoom the strip" @click="act('close_up')">Zoom</button></div>
        <match-strip ref="strip" :review="review" :end-s="clock.end" :time-s="frame.time_s" :selected="selected" :names="names"
          :close-up="closeUp" @seek="seek" @select="select"></match-strip>
        <div class="correct" role="toolbar" aria-label="Correct at the playhead">
          <button v-for="one in corrections" :key="one.id" type="button" :title="one.text" :disabled="saving" @click="act(one.id)">{{ one.short }} <kbd v-if="keyOf(one.id)">{{ keyOf(one.id) }}</kbd></button></div>
        <section class="unseen" aria-labelledby="unseen"><h2 id="unseen">{{ unseenHeading }}</h2><ul><li v-for="words in review.unseen" :key="words">{{ words }}</li></ul></section>
        <match-lists :review="review" :names="names" :busy="saving" @seek="seek" @remove="edit({kind: 'remove_event', event: $event})"></match-lists>
      </div>
    </div>

    <p class="sr" role="status" aria-live="polite" id="said">{{ said }}</p>
    <p v-if="said" class="toast" aria-hidden="true" :key="said">{{ said }}</p>

    <keys-window v-if="open === 'keys'" :keys="keys" @close="open = ''" @changed="keysVersion += 1"></keys-window>
    <save-window v-if="open === 'save'" :formats="review.exports" :address="formatAddress" :outputs="outputs" @close="open = ''" @make="makeOutput" @stop="stopOutput"></save-window>
    <go-window v-if="open === 'go'" :clock="clock" @close="open = ''" @go="go"></go-window>
    <award-window v-if="open === 'change' || open === 'add'" :start="draft" :adding="open === 'add'" :names="names" :values="review.values"
      :clock="clock" :playhead-s="frame.time_s" :end-s="review.ending.end?.time_s ?? null" @close="open = ''" @save="saveAward"></award-window>
    <name-window v-if="open === 'name'" :target="draft" :names="names" @close="open = ''" @save="saveName"></name-window>
    <event-window v-if="open === 'mark'" :time-s="frame.time_s" :names="names" @close="open = ''" @save="saveFrom"></event-window>
    <evidence-window v-if="open === 'evidence' && proposal" :proposal="proposal" :heading="evidenceHeading" :state="evidenceState" :about="about" :names="names" :busy="saving"
      :locked="!!review.read_only" @close="open = ''" @act="act" @seek="open = ''; stillAt($event)" @check="saveCheck" @closer="lookCloser"></evidence-window>
    <closer-window v-if="open === 'closer'" :start="draft" :about="about" :names="names" :clock="clock" @close="open = ''" @seek="open = ''; stillAt($event)"></closer-window>
    <keep-window v-if="open === 'keep'" :start="draft" @close="open = ''" @save="keepMoment"></keep-window>
    <history-window v-if="open === 'history'" :happened="happened" :busy="saving" :locked="!!review.read_only" @close="open = ''" @turn="turnEntry" @older="olderHistory" @seek="open = ''; stillAt($event)"></history-window>
    <result-window v-if="open === 'result'" :ending="review.ending" :names="names" :playhead-s="frame.time_s" :busy="saving" @close="open = ''" @save="saveResult"></result-window>
    <meanwhile-window v-if="meanwhile" :changed="meanwhile" @answer="answerMeanwhile"></meanwhile-window>
    <dismiss-window v-if="open === 'dismiss'" :what="draft.why" :line="draft" @close="open = ''" @save="saveDismiss"></dismiss-window>
  </div>
  <div class="room waiting" v-else><h1>PoseScore</h1><p v-if="trouble" role="alert">{{ trouble }} <a href="/">All matches</a></p><p v-else>Opening the match\u2026</p></div>
`;
